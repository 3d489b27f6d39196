import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.echoes.beat import Beat
from skyglint.echoes.classify import Evidence, above, below, classify
from skyglint.echoes.colour import Colour
from skyglint.echoes.company import Company
from skyglint.echoes.decay import Decay
from skyglint.echoes.echo import CLASSES
from skyglint.echoes.envelope import Envelope
from skyglint.echoes.swell import Swell

ALONE = Company(0, 4, 0, 1, 0.0)
EVERYWHERE = Company(4, 4, 1, 1, 1.0)
STILL = Swell(0.0, 0.0, float("inf"))
PROGRAMME = Colour(0.95, 0.4, 0.08, 0.0, 30.0)


def evidence(**changes):
    """Evidence of a textbook underdense trail, with changes."""
    trail = Evidence(
        kind="fm",
        guard=False,
        duration_s=0.6,
        peak_snr_db=10.0,
        strength=80.0,
        overlong=False,
        envelope=Envelope(8.0, 0.01, 0.02, 0.18, 0.0, 0.6),
        decay=Decay(0.25, 0.01, 0.1, 0.002, 0.02, 10.0, 1.2, 0.03, 90),
        company=ALONE,
        colour=PROGRAMME,
        swell=STILL,
    )
    return dataclasses.replace(trail, **changes)


ROUGH = Decay(1.2, 0.2, 0.1, 0.05, 0.1, 5.0, 900.0, 0.5, 400)
CASES = {
    "underdense": evidence(),
    "overdense": evidence(duration_s=6.0, decay=ROUGH, envelope=Envelope(8.0, 0.02, 0.1, 0.45, 0.8, 0.5)),
    "head": evidence(duration_s=0.3, envelope=Envelope(8.0, 0.03, 0.06, 0.5, 0.0, 0.2)),
    "aircraft": evidence(
        duration_s=25.0, decay=ROUGH, envelope=Envelope(3.0, 4.0, 6.0, 0.5, 2.0, 0.5), beat=Beat(0.3, 4.5, 0.9)
    ),
    "satellite": evidence(
        kind="carrier",
        duration_s=20.0,
        decay=ROUGH,
        colour=None,
        swell=None,
        envelope=Envelope(8.0, 0.5, 2.0, 0.5, 0.0, 0.3),
        doppler_hz=800.0,
        doppler_rate_hz_s=-60.0,
        doppler_span_hz=900.0,
    ),
    "sporadic-e": evidence(
        duration_s=30.0, overlong=True, decay=ROUGH, envelope=Envelope(3.0, 1.0, 3.0, 0.5, 0.5, 0.8)
    ),
    "ducting": evidence(duration_s=30.0, overlong=True, decay=ROUGH, envelope=Envelope(1.0, 12.0, 20.0, 0.7, 0.0, 0.3)),
    "lightning": evidence(duration_s=0.2, decay=ROUGH, company=EVERYWHERE),
    "interference": evidence(duration_s=10.0, decay=ROUGH, company=EVERYWHERE),
    "unknown": evidence(
        duration_s=0.05,
        strength=1.05,
        decay=Decay(0.2, 0.2, 0.0, 0.1, 0.01, 0.2, 1.0, float("nan"), 20),
        envelope=Envelope(0.1, 0.01, 0.02, 0.5, 0.0, 0.4),
    ),
}


@pytest.mark.parametrize("name", CLASSES)
def test_a_textbook_case_of_each_class_is_told(name):
    verdict = classify(CASES[name])
    assert verdict.echo_class == name
    assert verdict.reason.startswith(f"{name} (")
    assert verdict.reason.endswith(".")


def test_the_numbers_behind_the_verdict_stand_in_its_sentence():
    reason = classify(CASES["underdense"]).reason
    for fact in ("0.60 s long", "peak 10.0 dB", "0.250 s", "0 of 4 other channels"):
        assert fact in reason


def test_a_meteor_is_not_believed_in_a_guard():
    assert classify(evidence(guard=True)).echo_class == "interference"


def test_a_fast_chirp_on_a_carrier_is_a_head():
    chirp = evidence(kind="carrier", colour=None, doppler_rate_hz_s=-3000.0, doppler_span_hz=900.0, doppler_hz=500.0)
    assert classify(chirp).echo_class == "head"


def test_a_piece_of_a_beat_is_told_by_the_unrest_before_it():
    assert classify(evidence(duration_s=0.2, strength=3.0, unrest=0.3)).echo_class == "aircraft"
    assert classify(evidence(duration_s=2.0, strength=3.0, unrest=0.3)).echo_class == "sporadic-e"


def test_an_even_beat_is_no_overdense_trail():
    trail = CASES["overdense"]
    assert classify(dataclasses.replace(trail, beat=Beat(0.4, 8.0, 0.9))).echo_class == "aircraft"
    assert classify(dataclasses.replace(trail, beat=Beat(0.1, 1.2, 0.9))).echo_class == "overdense"


def test_a_step_of_the_gain_is_the_receivers():
    step = Company(3, 4, 0, 1, 1.0, references_up=1, references=1)
    assert classify(evidence(company=step)).echo_class == "interference"


def test_the_beat_of_an_aircraft_under_the_burst_is_not_a_meteor():
    beat = evidence(duration_s=0.2, strength=3.0, swell=Swell(0.5, 20.0, 0.5))
    assert classify(beat).echo_class == "aircraft"


@given(
    st.floats(0.01, 60),
    st.floats(-20, 60),
    st.floats(0.5, 1e4),
    st.booleans(),
    st.floats(0, 1),
    st.sampled_from([ALONE, EVERYWHERE]),
    st.sampled_from([ROUGH, None, CASES["underdense"].decay]),
)
def test_probabilities_are_probabilities(duration, peak, strength, overlong, middle, company, decay):
    verdict = classify(
        evidence(
            duration_s=duration,
            peak_snr_db=peak,
            strength=strength,
            overlong=overlong,
            company=company,
            decay=decay,
            envelope=Envelope(1.0, 0.1, 0.2, middle, 0.3, 0.4),
        )
    )
    assert sum(verdict.probabilities.values()) == pytest.approx(1.0)
    assert all(0 <= value <= 1 for value in verdict.probabilities.values())
    assert verdict.probability == max(verdict.probabilities.values())


@given(st.floats(1e-6, 1e6), st.floats(1e-3, 1e3))
def test_above_and_below_are_opposites(value, level):
    assert 0 < above(value, level) <= 1
    if 0.02 < above(value, level) < 0.98:
        assert above(value, level) + below(value, level) == pytest.approx(1.0, abs=1e-9)
