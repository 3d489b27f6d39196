"""Several lists as one."""

import pytest

from skyglint.errors import RequestError
from skyglint.plan.lists import gather, list_words

OWN = (
    "name,frequency_hz,kind,latitude_deg,longitude_deg,power_w\n"
    "Mossgate,98300000,fm,58.72,6.05,60000\n"
    "Mossgate,98300000,fm,58.72,6.05,40000\n"
    "Broken,98300000,fm,95,6.05,40000\n"
)


def test_lists_are_joined_and_spoken_of(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(OWN, encoding="utf-8")
    gathered = gather([path], demo=True)
    assert len(gathered.transmitters) == 49
    assert [rejection.line for rejection in gathered.rejections] == [4]
    words = " ".join(list_words(gathered))
    assert "own.csv of 2" in words
    assert "1 bad rows left out" in words
    assert "1 duplicate rows merged" in words


def test_no_list_says_what_to_give():
    with pytest.raises(RequestError, match="--transmitters"):
        gather([])
