"""The site file: one valid example, many ways to break it, each with one clear line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.errors import RequestError, SiteFileError
from skyglint.site import load_site, parse_site

VALID = """
[site]
name = "Harrow Fell"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "Europe/London"

[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"

[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
bandwidth_hz = 200_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720
rds_pi = "f3a7"

[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_700_000

[[channel]]
name = "beacon"
role = "target"
kind = "carrier"
frequency_hz = 97_500_000
"""


SATELLITES = """
[station]
elements = "today.json"
satellites = [400000, 99992]
"""


def problems(text):
    with pytest.raises(SiteFileError) as caught:
        parse_site(text, "site.toml")
    assert caught.value.exit_status == 2
    return caught.value.problems


def broken(old, new):
    assert VALID.count(old) >= 1
    return problems(VALID.replace(old, new, 1))


def test_a_valid_file_is_read_whole():
    site = parse_site(VALID)
    assert site.site.name == "Harrow Fell"
    assert site.channel[0].rds_pi == "F3A7"
    assert [channel.bandwidth_hz for channel in site.channel] == [200_000, 200_000, 6_000]
    assert site.channel[1].latitude_deg is None


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("azimuth_deg = 46", "azimuth_deg = 412", "[antenna] azimuth_deg = 412: expected 0 to 360 degrees"),
        ("latitude_deg = 54.61", "latitude_deg = 460", "[site] latitude_deg = 460: expected -90 to 90"),
        ("latitude_deg = 54.61", "latitude_deg = nan", "[site] latitude_deg = nan: expected -90 to 90"),
        ("latitude_deg = 54.61", 'latitude_deg = "54.61"', '[site] latitude_deg = "54.61": expected -90 to 90'),
        ("latitude_deg = 54.61", "latitude_deg = true", "[site] latitude_deg = True: expected -90 to 90"),
        ("height_m = 210\n", "", "[site] height_m is missing: expected -500 to 9000 metres"),
        ('timezone = "Europe/London"', 'timezone = "Atlantis"', '[site] timezone = "Atlantis": expected an IANA'),
        ("azimuth_deg = 46", "azimuth = 46", "[antenna] azimuth is not a known key; did you mean azimuth_deg?"),
        ('"horizontal"', '"sideways"', '[antenna] polarization = "sideways": expected "horizontal", "vertical"'),
        ("gain_db = 30.0", 'gain_db = "loud"', '[receiver] gain_db = "loud": expected a number of decibels or "auto"'),
        ("= 98_000_000", '= "98 MHz"', '[receiver] center_frequency_hz = "98 MHz": expected a frequency in hertz'),
        ("2_400_000", "24", "[receiver] sample_rate_hz = 24: expected 8,000 to 20,000,000"),
        ('"target"', '"goal"', '[[channel]] 1 "north-sea" role = "goal": expected "target", "guard" or "reference"'),
        ("power_w = 60_000", "power_w = -1", '[[channel]] 1 "north-sea" power_w = -1: expected above 0'),
        ('"f3a7"', '"F3A77"', '[[channel]] 1 "north-sea" rds_pi = "F3A77": expected 4 hex digits'),
        ("longitude_deg = 6.05\n", "", '[[channel]] 1 "north-sea": latitude_deg and longitude_deg go together'),
        ('"quiet"', '"north-sea"', "channel names must differ; used more than once: north-sea"),
        ('kind = "carrier"', 'kind = "carrier"\nrds_pi = "F3A7"', '"beacon": rds_pi is for channels of kind "fm"'),
        ("[antenna]", "[aerial]", "[antenna] is missing: expected a table [antenna]"),
        ("height_m = 210", "height_m = 210\nheight_m = 5", "not valid TOML"),
        ('name = "Harrow Fell"', 'name = ""', '[site] name = "": expected a name of 1 to 80 characters'),
    ],
)
def test_one_fault_gives_its_own_line(old, new, line):
    found = broken(old, new)
    assert any(line in problem for problem in found), found
    assert all(problem.startswith("site.toml: ") for problem in found)


def test_all_faults_are_reported_at_once():
    text = VALID.replace("azimuth_deg = 46", "azimuth_deg = 412").replace("beamwidth_deg = 65", "beamwidth_deg = 0")
    assert len(problems(text)) == 2


def test_no_channel_at_all():
    assert problems(VALID[: VALID.index("[[channel]]")]) == [
        "site.toml: [[channel]] is missing: expected at least one [[channel]]"
    ]


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(RequestError, match="no such site file"):
        load_site(tmp_path / "missing.toml")
    with pytest.raises(RequestError, match="cannot be read"):
        load_site(tmp_path)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00name")
    with pytest.raises(SiteFileError, match=r"not a text file in UTF-8 \(byte 0\)"):
        load_site(binary)


@given(st.text(max_size=200))
def test_no_text_brings_a_traceback(text):
    with pytest.raises(SiteFileError):
        parse_site(text)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
        lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
        max_leaves=5,
    ),
    st.sampled_from(["site", "antenna", "receiver", "channel"]),
)
def test_no_value_brings_a_traceback(value, table):
    from skyglint import site as module

    data = {"site": 1, "antenna": {}, "receiver": [], "channel": [{}]}
    data[table] = value
    try:
        module.Site.model_validate(data)
    except module.ValidationError as error:
        for fault in error.errors(include_url=False):
            assert module._explain("f", data, fault)


def test_satellites_to_look_out_for():
    site = parse_site(VALID + SATELLITES)
    assert (site.station.elements, site.station.satellites) == ("today.json", (400000, 99992))
    own = parse_site(VALID.replace('name = "beacon"', 'name = "beacon"\nsatellite = 99992'))
    assert own.channel[2].satellite == 99992


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (VALID + SATELLITES.replace('elements = "today.json"', ""), "give elements as well"),
        (
            VALID + SATELLITES.replace("99992", "-1"),
            "[station] satellites = -1: expected a list of catalogue numbers, 0 to 999999999",
        ),
        (VALID + SATELLITES.replace("[400000, 99992]", '"all"'), "satellites"),
        (
            VALID.replace('name = "quiet"', 'name = "quiet"\nsatellite = 5'),
            'satellite is for channels of kind "carrier"',
        ),
    ],
)
def test_what_cannot_be_said_of_satellites(text, message):
    assert any(message in problem for problem in problems(text))
