import pytest

from skyglint.errors import ScenarioError
from skyglint.simulate import load_scenario
from skyglint.simulate.scenario import parse_scenario

GOOD = """
[recording]
start_utc = "2026-08-13T03:40:00Z"
duration_s = 10
sample_rate_hz = 1_200_000
center_frequency_hz = 98_000_000
noise_dbfs = -30

[receiver]
clock_error_ppm = 1.5

[[transmitter]]
name = "far"
kind = "fm"
frequency_hz = 98_300_000
rds_pi = "f3a7"

[[underdense]]
transmitter = "far"
start_s = 3
peak_snr_db = 15

[[population]]
transmitter = "far"
rate_per_h = 100
"""


def test_a_good_scenario():
    scenario = parse_scenario(GOOD)
    assert scenario.recording.start_unix == 1786592400
    assert scenario.transmitter[0].channel == "far"
    assert scenario.transmitter[0].rds_pi == "F3A7"
    assert scenario.underdense[0].height_km == 95
    assert len(scenario.channel_events) == 1


# One valid file, many ways to break it: what is replaced, by what, and the line that a person reads.
BROKEN = [
    ("duration_s = 10", "duration_s = 0", "[recording] duration_s = 0: expected 0.01 to 100,000 seconds"),
    ("duration_s = 10", "duration_s = nan", "[recording] duration_s = nan: expected 0.01 to 100,000 seconds"),
    ("duration_s = 10\n", "", "[recording] duration_s is missing: expected 0.01 to 100,000 seconds"),
    ("noise_dbfs =", "noise =", "[recording] noise is not a known key; did you mean noise_dbfs?"),
    ("-08-13T03:40:00Z", "-08-13 03:40", '[recording] start_utc = "2026-08-13 03:40": expected a UTC time like'),
    ("noise_dbfs = -30", 'noise_dbfs = "-30"', '[recording] noise_dbfs = "-30": expected -120 to 0 dB over full scale'),
    ("noise_dbfs = -30", 'format = "wav"', '[recording] format = "wav": expected "cu8", "ci8", "ci16_le" or "cf32_le"'),
    ("_ppm = 1.5", "_ppm = 900", "[receiver] clock_error_ppm = 900: expected -200 to 200 parts per million"),
    ('kind = "fm"', 'kind = "am"', '[[transmitter]] 1 "far" kind = "am": expected "fm" or "carrier"'),
    ('"f3a7"', '"F3G7"', '[[transmitter]] 1 "far" rds_pi = "F3G7": expected 4 hex digits'),
    (
        'rds_pi = "f3a7"',
        "linewidth_hz = 3",
        '[[transmitter]] 1 "far": linewidth_hz is for transmitters of kind "carrier"',
    ),
    ('kind = "fm"', 'kind = "carrier"', '[[transmitter]] 1 "far": rds_pi is for transmitters of kind "fm"'),
    ('kind = "fm"', 'kind = "fm"\ndeviation_hz = 7000', '"far": pilot_hz + rds_hz = 8750: expected less than'),
    ("98_300_000", "98_590_000", '[[transmitter]] "far" frequency_hz = 98590000: reaches 90000 Hz outside'),
    ("start_s = 3", "start_s = -3", "[[underdense]] 1 start_s = -3: expected seconds after the recording's start"),
    ("start_s = 3", "start_s = 3\nheight_km = 300", "[[underdense]] 1 height_km = 300: expected 60 to 130 kilometres"),
    (
        '[[underdense]]\ntransmitter = "far"',
        '[[underdense]]\ntransmitter = "near"',
        '[[underdense]] 1 transmitter = "near": expected one of far',
    ),
    ("[[underdense]]", "[[underdence]]", "underdence is not a known table; did you mean underdense?"),
    ("[[underdense]]", "[underdense]", "[underdense] = {'transmitter'"),
    ("rate_per_h = 100", "rate_per_h = 0", "[[population]] 1 rate_per_h = 0: expected above 0 echoes an hour"),
    ("rate_per_h = 100", "rate_per_h = 1\nmax_snr_db = 0", "[[population]] 1: max_snr_db = 0.0: expected more than"),
    (
        "[[underdense]]",
        "[[loss]]\nstart_s = 0\nduration_s = 99\n[[underdense]]",
        "[[loss]]: nothing of the recording is left",
    ),
    ("[recording]", "[recording", "not valid TOML"),
    ("[receiver]", "[reciever]", "reciever is not a known table; did you mean receiver?"),
]


@pytest.mark.parametrize(("old", "new", "line"), BROKEN)
def test_each_fault_is_one_clear_line(old, new, line):
    assert GOOD.count(old) >= 1
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(GOOD.replace(old, new, 1), "night.toml")
    message = str(caught.value)
    assert message.startswith("night.toml: ")
    assert line in message
    assert "\n" not in message
    assert caught.value.exit_status == 2


def test_all_faults_at_once():
    text = GOOD.replace("duration_s = 10", "duration_s = -1").replace('kind = "fm"', 'kind = "tv"')
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(text)
    assert len(str(caught.value).splitlines()) == 2


def test_faults_between_tables_are_lines_too():
    text = GOOD.replace('transmitter = "far"', 'transmitter = "near"')
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(text, "night.toml")
    assert str(caught.value).splitlines() == [
        'night.toml: [[population]] 1 transmitter = "near": expected one of far',
        'night.toml: [[underdense]] 1 transmitter = "near": expected one of far',
    ]


def test_two_transmitters_of_one_name():
    twice = GOOD + '[[transmitter]]\nname = "far"\nkind = "carrier"\nfrequency_hz = 97_900_000\n'
    with pytest.raises(ScenarioError, match="used more than once: far"):
        parse_scenario(twice)


def test_an_fm_station_needs_a_fast_receiver():
    slow = GOOD.replace("sample_rate_hz = 1_200_000", "sample_rate_hz = 200_000").replace("98_300_000", "98_000_000")
    with pytest.raises(ScenarioError, match="sample_rate_hz = 200000: expected at least 250,000 for a station"):
        parse_scenario(slow)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(ScenarioError, match="no such scenario file"):
        load_scenario(tmp_path / "none.toml")
    with pytest.raises(ScenarioError, match="cannot be read"):
        load_scenario(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b"name = '\xe9'")
    with pytest.raises(ScenarioError, match="not a text file in UTF-8"):
        load_scenario(tmp_path / "latin.toml")
