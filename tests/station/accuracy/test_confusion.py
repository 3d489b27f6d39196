import numpy as np
import pytest

from skyglint.echoes.echo import CLASSES
from skyglint.station.accuracy.confusion import Confusion, carrier_confusion, fm_confusion


def filled(*cells):
    counts = np.zeros((len(CLASSES), len(CLASSES)), dtype=np.int64)
    for row, column, count in cells:
        counts[row, column] = count
    return Confusion(CLASSES, counts, np.arange(len(CLASSES)))


def test_balanced_accuracy_is_the_mean_over_classes():
    confusion = filled((0, 0, 90), (1, 1, 1), (1, 0, 3))
    assert confusion.balanced_accuracy == pytest.approx((1.0 + 0.25) / 2)
    assert confusion.events == 94
    assert (confusion + confusion).events == 188


def test_the_table_shows_every_planted_class_with_its_verdicts():
    lines = filled((0, 0, 90), (1, 1, 1), (1, 0, 3)).table.splitlines()
    assert lines[0].split()[:2] == ["underdense", "overdense"]
    assert lines[1].split() == ["underdense", "90", *"." * 9, "0", "100%"]
    assert lines[2].split() == ["overdense", "3", "1", *"." * 8, "1", "25%"]
    assert len({len(line) for line in lines}) == 1


def test_clear_carrier_echoes_are_told_apart():
    confusion = carrier_confusion(4, (48.0, 55.0), 6, ("underdense", "overdense", "head"))
    assert confusion.events >= 11
    assert confusion.balanced_accuracy >= 0.8


def test_clear_fm_bursts_are_told_apart():
    confusion = fm_confusion(4, (5.0, 15.0), 6, ("underdense", "overdense", "aircraft", "lightning"))
    assert confusion.events >= 14
    assert confusion.balanced_accuracy >= 0.8
