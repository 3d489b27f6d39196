from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sgp4.alpha5 import to_alpha5

from skyglint.sky.orbits.tle import catalog_number, checksum, read_tle
from skyglint.utc import parse_utc

# Satellite 00005 of the published SGP4 verification set (Vallado et al., AIAA 2006-6753).
SET = """\
1 00005U 58002B   00179.78495062  .00000023  00000-0  28098-4 0  4753
2 00005  34.2682 348.7242 1859667 331.7664  19.3264 10.82419157413667"""


def test_fields_of_a_published_set():
    elements = read_tle(SET, "set").elements[0]
    assert (elements.name, elements.catalog_number, elements.object_id) == ("5", 5, "1958-002B")
    assert elements.epoch_unix == pytest.approx(parse_utc("2000-06-27T18:50:19.733568Z"), abs=1e-5)
    assert elements.mean_motion_rev_day == 10.82419157
    assert elements.eccentricity == 0.1859667
    assert elements.inclination_deg == 34.2682
    assert elements.node_deg == 348.7242
    assert elements.perigee_deg == 331.7664
    assert elements.mean_anomaly_deg == 19.3264
    assert elements.bstar_per_radius == pytest.approx(0.28098e-4)


def test_names_above_with_and_without_the_zero():
    text = f"0 GLINT ONE\n{SET}\nGLINT TWO  \n{SET}\n{SET}"
    assert [elements.name for elements in read_tle(text, "set").elements] == ["GLINT ONE", "GLINT TWO", "5"]


def test_the_whole_verification_file_is_read():
    text = (files("sgp4") / "SGP4-VER.TLE").read_text()
    found = read_tle(text, "SGP4-VER.TLE")
    lines = sum(line.startswith("1 ") for line in text.splitlines())
    assert len(found.elements) + len(found.rejected) == lines
    # Three sets of that file carry checksums that do not fit, on purpose.
    assert len(found.rejected) == 3
    assert all("checksum" in line for line in found.rejected)


# Alpha-5 as the U.S. Space Force publishes it; the figures come from the sgp4 package.
@pytest.mark.parametrize(
    ("field", "number"),
    [
        ("A0000", 100000),
        ("E8493", 148493),
        ("J2931", 182931),
        ("P4018", 234018),
        ("W1928", 301928),
        ("Z9999", 339999),
        ("    5", 5),
        ("25544", 25544),
    ],
)
def test_alpha_5(field, number):
    assert catalog_number(field) == number


@given(st.integers(0, 339_999))
def test_alpha_5_against_the_sgp4_package(number):
    assert catalog_number(to_alpha5(number)) == number


@pytest.mark.parametrize("field", ["I0000", "O0000", "a0000", "1 234", "", "AA000"])
def test_numbers_that_are_none(field):
    with pytest.raises(ValueError, match="catalogue number"):
        catalog_number(field)


def repaired(line):
    return line[:68] + str(checksum(line))


FIRST, SECOND = SET.splitlines()
BROKEN = [
    (FIRST[:-1] + "4", SECOND, "checksum '4': expected 3"),
    (FIRST[:60], SECOND, "line 1 has 60 characters: expected 69"),
    (FIRST, repaired(SECOND.replace("00005", "00006")), "object 00005 and line 2 of 00006"),
    (repaired(FIRST.replace("00179.7", "00400.7")), SECOND, "epoch"),
    (repaired(FIRST.replace("28098-4", "2809x-4")), SECOND, "drag term"),
    (FIRST, repaired(SECOND.replace(" 34.2682", "190.2682")), "inclination = 190.268: expected 0 to 180 degrees"),
    (FIRST, repaired(SECOND.replace("10.82419157", "xx.82419157")), "mean motion 'xx.82419157': expected a number"),
    (FIRST, "", "expected its line 2"),
]


@pytest.mark.parametrize(("first", "second", "message"), BROKEN)
def test_a_bad_set_is_explained_and_the_others_stay(first, second, message):
    found = read_tle(f"{first}\n{second}\n{SET}", "old.tle")
    assert [elements.catalog_number for elements in found.elements] == [5]
    assert len(found.rejected) == 1
    assert found.rejected[0].startswith("old.tle, line 1: ")
    assert message in found.rejected[0]


@given(st.text())
def test_any_text_gives_sets_or_reasons(text):
    found = read_tle(text, "noise")
    assert not found.elements
