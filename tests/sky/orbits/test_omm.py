import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.sky.orbits.omm import epoch_unix, read_omm_csv, read_omm_json, read_omm_kvn, read_omm_xml
from skyglint.utc import parse_utc

# An invented object; the fields are those of CCSDS 502.0-B-3 sect. 4 (figure 4-2 and annex for XML).
FIELDS = {
    "OBJECT_NAME": "GLINT ONE",
    "OBJECT_ID": "2026-012A",
    "CENTER_NAME": "EARTH",
    "REF_FRAME": "TEME",
    "TIME_SYSTEM": "UTC",
    "MEAN_ELEMENT_THEORY": "SGP4",
    "EPOCH": "2026-11-20T12:25:40.104192",
    "MEAN_MOTION": "15.49309620",
    "ECCENTRICITY": "0.0006703",
    "INCLINATION": "51.6416",
    "RA_OF_ASC_NODE": "247.4627",
    "ARG_OF_PERICENTER": "130.5360",
    "MEAN_ANOMALY": "325.0288",
    "EPHEMERIS_TYPE": "0",
    "CLASSIFICATION_TYPE": "U",
    "NORAD_CAT_ID": "125544",
    "ELEMENT_SET_NO": "999",
    "REV_AT_EPOCH": "42",
    "BSTAR": "0.00010270",
    "MEAN_MOTION_DOT": "0.00002182",
    "MEAN_MOTION_DDOT": "0",
}


def as_xml(fields):
    part = lambda keys: "".join(f"<{key}>{fields[key]}</{key}>" for key in keys if key in fields)  # noqa: E731
    keys = list(FIELDS)
    return (
        '<?xml version="1.0"?><ndm xmlns:x="urn:any"><omm id="CCSDS_OMM_VERS" version="3.0"><header/><body><segment>'
        f"<metadata>{part(keys[:6])}</metadata><data><meanElements>{part(keys[6:13])}</meanElements>"
        f"<tleParameters>{part(keys[13:])}</tleParameters></data></segment></body></omm></ndm>"
    )


def as_json(fields):
    return json.dumps([fields])


def as_csv(fields):
    return ",".join(fields) + "\n" + ",".join(fields.values()) + "\n"


def as_kvn(fields):
    units = {"MEAN_MOTION": " [rev/day]", "INCLINATION": " [deg]"}
    lines = [f"{key} = {value}{units.get(key, '')}" for key, value in fields.items()]
    return "\n".join(["CCSDS_OMM_VERS = 3.0", "COMMENT invented", *lines])


FORMS = [(read_omm_xml, as_xml), (read_omm_json, as_json), (read_omm_csv, as_csv), (read_omm_kvn, as_kvn)]


@pytest.mark.parametrize(("read", "write"), FORMS)
def test_every_form_gives_the_same_elements(read, write):
    found = read(write(FIELDS), "file")
    assert found.rejected == ()
    (elements,) = found.elements
    assert (elements.name, elements.catalog_number, elements.object_id) == ("GLINT ONE", 125544, "2026-012A")
    assert elements.epoch_unix == parse_utc("2026-11-20T12:25:40.104192Z")
    assert elements.mean_motion_rev_day == 15.4930962
    assert elements.bstar_per_radius == 1.027e-4
    assert elements.perigee_deg == 130.536


# Inputs on which sgp4 2.27's own OMM reader fails: numbers from 340000, no fraction in EPOCH, a trailing Z.
@pytest.mark.parametrize(
    "change",
    [
        {"NORAD_CAT_ID": "340000"},
        {"NORAD_CAT_ID": "799999999"},
        {"EPOCH": "2026-11-20T12:25:40"},
        {"EPOCH": "2026-11-20T12:25:40.104192Z"},
        {"EPOCH": "2026-324T12:25:40.104192"},
    ],
)
@pytest.mark.parametrize(("read", "write"), FORMS)
def test_traps(read, write, change):
    (elements,) = read(write({**FIELDS, **change}), "file").elements
    assert elements.catalog_number == int(change.get("NORAD_CAT_ID", "125544"))
    assert elements.epoch_unix == pytest.approx(parse_utc("2026-11-20T12:25:40Z"), abs=0.11)


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("MEAN_ELEMENT_THEORY", "DSST", "MEAN_ELEMENT_THEORY = DSST: expected SGP/SGP4 or SGP4"),
        ("REF_FRAME", "ICRF", "REF_FRAME = ICRF: expected TEME"),
        ("TIME_SYSTEM", "TAI", "TIME_SYSTEM = TAI: expected UTC"),
        ("MEAN_MOTION", "fast", "MEAN_MOTION = fast: expected a number"),
        ("MEAN_MOTION", "0", "mean motion = 0: expected revolutions a day above 0"),
        ("ECCENTRICITY", "1.2", "eccentricity = 1.2: expected 0 to below 1"),
        ("BSTAR", "", "BSTAR is missing: expected a number"),
        ("INCLINATION", "nan", "INCLINATION = nan: expected a number"),
        ("NORAD_CAT_ID", "1234567890", "NORAD_CAT_ID = 1234567890: expected up to nine digits"),
        ("EPOCH", "yesterday", "EPOCH = yesterday: expected a UTC time"),
    ],
)
@pytest.mark.parametrize(("read", "write"), FORMS)
def test_a_bad_message_is_explained(read, write, key, value, message):
    found = read(write({**FIELDS, key: value}), "now.omm")
    assert found.elements == ()
    assert found.rejected[0].startswith("now.omm, message 1 (GLINT ONE): ")
    assert message in found.rejected[0]


def test_one_bad_message_leaves_the_others():
    found = read_omm_json(json.dumps([FIELDS, {**FIELDS, "EPOCH": None}, FIELDS]), "file")
    assert len(found.elements) == 2
    assert "message 2" in found.rejected[0]


def test_several_messages_in_key_value_text():
    assert len(read_omm_kvn(as_kvn(FIELDS) + "\n" + as_kvn(FIELDS), "file").elements) == 2


@pytest.mark.parametrize(
    ("read", "text", "message"),
    [
        (read_omm_xml, "<ndm>", "not valid XML"),
        (read_omm_xml, '<!DOCTYPE x [<!ENTITY y "z">]><ndm/>', "document type"),
        (read_omm_json, "[1", "not valid JSON"),
        (read_omm_json, "[1]", "expected a JSON object"),
    ],
)
def test_broken_text_is_refused(read, text, message):
    with pytest.raises(ValueError, match=message):
        read(text, "file")


@given(st.datetimes().filter(lambda moment: 1957 < moment.year < 2100))
def test_epochs_come_back(moment):
    expected = parse_utc(moment.isoformat() + "Z")
    assert epoch_unix(moment.isoformat()) == expected
    assert epoch_unix(f"{moment:%Y-%jT%H:%M:%S.%f}Z") == pytest.approx(expected, abs=1e-6)
