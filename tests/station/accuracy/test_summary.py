from dataclasses import dataclass

import numpy as np
import pytest

from skyglint.errors import RequestError
from skyglint.station.accuracy.summary import accuracy_figures, figure_numbers, figure_text


@dataclass(frozen=True)
class Figure:
    found: int
    by_level: np.ndarray

    @property
    def share(self):
        return self.found / 8

    @property
    def table(self):
        return "a b\n1 2"


def test_a_figure_is_one_line_and_its_table():
    assert figure_text("bursts", Figure(6, np.zeros(3))) == "bursts: found 6, share 0.75\na b\n1 2"


def test_a_program_gets_fields_and_what_follows_from_them():
    numbers = figure_numbers(Figure(6, np.zeros(3)))
    assert numbers["share"] == 0.75
    assert set(numbers) == {"found", "by_level", "share", "table"}


def test_an_unknown_part_is_refused_with_the_known_ones():
    with pytest.raises(RequestError, match="--part sound: expected one of fm, carrier, classes"):
        next(accuracy_figures(1, 1.0, ["sound"]))
