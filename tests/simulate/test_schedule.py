import numpy as np
import pytest

from skyglint.echoes.echo import CLASSES
from skyglint.simulate.scenario import parse_scenario
from skyglint.simulate.schedule import schedule

START = 1786592400.0
TEXT = """
[recording]
start_utc = "2026-08-13T03:40:00Z"
duration_s = 600
sample_rate_hz = 1_200_000
center_frequency_hz = 98_000_000
[[transmitter]]
name = "far"
kind = "fm"
frequency_hz = 98_300_000
direct_snr_db = -5
rds_pi = "F3A7"
[[transmitter]]
name = "beacon"
kind = "carrier"
frequency_hz = 97_800_000
"""
EVENT = '[[{table}]]\ntransmitter = "{station}"\nstart_s = {start_s}\npeak_snr_db = 14\n{more}\n'
EVENTS = [
    ("underdense", ""),
    ("overdense", "duration_s = 3"),
    ("head", "duration_s = 0.2"),
    ("aircraft", "duration_s = 30"),
    ("satellite", "duration_s = 60"),
    ("sporadic_e", "duration_s = 200"),
    ("ducting", "duration_s = 300"),
    ("burst", "duration_s = 0.2"),
]
REST = """
[[lightning]]
start_s = 5
peak_snr_db = 14
[[impulses]]
start_s = 20
duration_s = 2
peak_snr_db = 14
[[comb]]
start_s = 30
duration_s = 2
peak_snr_db = 14
[[gain_step]]
start_s = 40
duration_s = 2
step_db = 1
[[loss]]
start_s = 50
duration_s = 5
[[loss]]
start_s = 53
duration_s = 9
[[loss]]
start_s = 595
duration_s = 50
"""


def scheduled(text):
    return schedule(parse_scenario(text), np.random.default_rng(1))


def everything():
    events = [
        EVENT.format(table=table, station=station, start_s=10 + index, more=more)
        for index, (table, more) in enumerate(EVENTS)
        for station in ("far", "beacon")
    ]
    return scheduled(TEXT + "".join(events) + REST)


def test_every_class_can_be_made():
    assert {event.echo_class for event in everything().truth.events} == set(CLASSES)


def test_events_have_their_strength_and_their_station():
    night = everything()
    starts = [event.start_unix for event in night.truth.events]
    assert starts == sorted(starts)
    for event in night.truth.events:
        if event.channel == "*":
            assert event.transmitter == event.rds_pi == ""
            continue
        assert event.peak_snr_db == pytest.approx(14, abs=1e-3)
        assert event.rds_pi == ("F3A7" if event.channel == "far" else "")
        assert START + 9 < event.start_unix <= event.peak_unix <= event.end_unix + 0.02
    far, beacon = night.arrivals
    assert len(far) == len(EVENTS) + 1  # and the direct signal
    assert len(beacon) == len(EVENTS)


def test_a_gain_step_of_1_db_is_a_rise_of_a_quarter():
    (step,) = [event for event in everything().truth.events if event.start_unix == START + 40]
    assert 10 ** (step.peak_snr_db / 10) == pytest.approx(0.2589, abs=1e-4)


def test_losses_join_and_end_with_the_recording():
    assert everything().truth.losses == ((START + 50, START + 62), (START + 595, START + 600))


def test_events_after_the_end_are_not_in_it():
    late = EVENT.format(table="burst", station="far", start_s=700, more="duration_s = 1")
    assert scheduled(TEXT + late).truth.events == ()


def test_trails_meet_with_any_phase():
    many = "".join(EVENT.format(table="burst", station="far", start_s=n, more="duration_s = 1") for n in range(1, 200))
    phases = np.array([np.angle(arrival.gain[0]) for arrival in scheduled(TEXT + many).arrivals[0][1:]])
    assert abs(np.exp(1j * phases).mean()) < 0.25
