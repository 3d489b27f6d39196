import xml.etree.ElementTree as ET

import pytest

from skyglint.echoes.echo import CLASSES, METEORIC
from skyglint.report.figures import marks


def test_every_class_has_a_mark_and_every_mark_a_word_and_a_shape():
    shapes = {item.get("id") for item in ET.fromstring(marks.definitions()).iter()}
    key = marks.key()
    for echo_class in CLASSES:
        mark = marks.mark_of(echo_class)
        assert marks.WORDS[mark] in key
        assert f"mark-{mark}" in shapes


def test_meteors_and_others_never_share_a_mark():
    assert {marks.mark_of(name) for name in METEORIC}.isdisjoint(
        marks.mark_of(name) for name in CLASSES if name not in METEORIC
    )


@pytest.mark.parametrize("one", sorted(METEORIC))
def test_each_class_of_meteors_has_its_own_shape(one):
    assert [name for name in METEORIC if marks.mark_of(name) == marks.mark_of(one)] == [one]


def test_the_key_says_what_hatched_paper_means():
    assert "nothing was watched" in marks.key()
