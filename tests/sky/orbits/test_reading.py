import pytest

from skyglint.errors import RequestError
from skyglint.sky.orbits.elements import position_error_km
from skyglint.sky.orbits.reading import load_elements, parse_elements

OLD = """\
GLINT ONE
1 00005U 58002B   00179.78495062  .00000023  00000-0  28098-4 0  4753
2 00005  34.2682 348.7242 1859667 331.7664  19.3264 10.82419157413667
"""
NEW = """\
OBJECT_NAME,OBJECT_ID,EPOCH,MEAN_MOTION,ECCENTRICITY,INCLINATION,RA_OF_ASC_NODE,ARG_OF_PERICENTER,MEAN_ANOMALY,NORAD_CAT_ID,BSTAR
GLINT ONE,1958-002B,2000-07-01T00:00:00,10.82419157,0.1859667,34.2682,340.0,336.0,25.0,5,0.000028098
"""


def test_the_newest_set_of_an_object_counts(tmp_path):
    (tmp_path / "old.tle").write_text(OLD)
    (tmp_path / "new.csv").write_text(NEW)
    (elements,) = load_elements([tmp_path / "new.csv", tmp_path / "old.tle"]).elements
    assert elements.node_deg == 340.0


def test_forms_are_told_by_their_beginning():
    assert parse_elements("\ufeff" + OLD, "f").elements[0].catalog_number == 5
    assert parse_elements(NEW, "f").elements[0].catalog_number == 5
    assert parse_elements("EPOCH = 2026-11-20T00:00:00", "f").rejected
    assert parse_elements(" [] ", "f").elements == ()
    assert parse_elements("<ndm/>", "f").elements == ()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"hello", "no orbital elements: expected OMM"),
        (b"", "no orbital elements"),
        (b"\xff\xfe", "not text in UTF-8"),
        (b"[]", "no usable orbital elements"),
        (b"<ndm", "not valid XML"),
        (OLD.replace("4753", "4754").encode(), "checksum"),
    ],
)
def test_unusable_files_are_explained(tmp_path, content, message):
    path = tmp_path / "elements"
    path.write_bytes(content)
    with pytest.raises(RequestError, match=message):
        load_elements([path])


def test_missing_files_are_named(tmp_path):
    with pytest.raises(RequestError, match="no such file of orbital elements"):
        load_elements([tmp_path / "none"])
    with pytest.raises(RequestError, match="cannot be read"):
        load_elements([tmp_path])


def test_age_costs_accuracy():
    assert position_error_km(0.0) == 1.0
    assert position_error_km(-3.0) == position_error_km(3.0) == 7.0
