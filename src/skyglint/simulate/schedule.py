"""From a scenario to what happens when: arrivals by transmitter, disturbances of all channels, and the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from skyglint.echoes.echo import NAN, EchoClass
from skyglint.simulate import events as tables
from skyglint.simulate import other_envelopes as other
from skyglint.simulate import trail_envelopes as trail
from skyglint.simulate.arrival import Arrival
from skyglint.simulate.population import draw
from skyglint.simulate.scenario import Scenario, Transmitter
from skyglint.simulate.truth import EVERY_CHANNEL, VISIBLE_SNR_DB, TrueEvent, Truth, visible

_OVERDENSE_SPEED_KM_S = 40.0


@dataclass(frozen=True, slots=True)
class Schedule:
    """Everything that happens in a recording.

    Attributes
    ----------
    arrivals
        For each transmitter (same order), its arrivals; the power of a gain is the SNR in the transmitter's bandwidth
        (over 1 Hz for a carrier).
    noise_bursts
        Broad-band noise on every channel; power over the receiver's noise.
    truth
        The events of the recording by start time, and its losses.
    """

    arrivals: tuple[tuple[Arrival, ...], ...]
    noise_bursts: tuple[Arrival, ...]
    truth: Truth


@dataclass(frozen=True, slots=True)
class _Drawn:
    """An arrival with what is true of it."""

    arrival: Arrival
    echo_class: EchoClass
    decay_time_s: float = NAN
    doppler_hz: float = NAN
    doppler_rate_hz_s: float = NAN
    height_km: float = NAN


def schedule(scenario: Scenario, random: np.random.Generator) -> Schedule:
    """Draw the random parts of a scenario and return what happens."""
    events = [*scenario.channel_events]
    for population in scenario.population:
        events.extend(draw(population, scenario, random))
    stations = {station.name: station for station in scenario.transmitter}
    arrivals: dict[str, list[Arrival]] = {name: [] for name in stations}
    truths = []
    start_unix, end_s = scenario.recording.start_unix, scenario.recording.duration_s
    for station in scenario.transmitter:
        if station.direct_snr_db is not None:
            direct = other.steady(-1.0, end_s + 2.0).scaled(10 ** (station.direct_snr_db / 10))
            arrivals[station.name].append(direct)
    for event in events:
        station = stations[event.transmitter]
        drawn = _DRAWERS[type(event)](event, station, random)
        # Trails that overlap meet with any phase.
        arrival = drawn.arrival.scaled(10 ** (event.peak_snr_db / 10), float(random.uniform(0, 2 * np.pi)))
        arrivals[station.name].append(arrival)
        truths.append(_true_event(drawn, arrival, station, start_unix))
    bursts, disturbances = _disturbances(scenario, random)
    inside = [each for each in (*truths, *disturbances) if each.start_unix < start_unix + end_s]
    return Schedule(
        tuple(tuple(arrivals[station.name]) for station in scenario.transmitter),
        tuple(bursts),
        Truth(
            tuple(sorted(inside, key=lambda each: each.start_unix)),
            tuple((start_unix + begin, start_unix + end) for begin, end in scenario.lost_s),
        ),
    )


def _true_event(drawn: _Drawn, arrival: Arrival, station: Transmitter, start_unix: float) -> TrueEvent:
    seen = visible(arrival, VISIBLE_SNR_DB[station.kind])
    return TrueEvent(
        channel=station.channel,
        transmitter=station.name,
        start_unix=start_unix + seen.start_s,
        duration_s=seen.duration_s,
        peak_unix=start_unix + seen.peak_s,
        peak_snr_db=float(10 * np.log10(arrival.peak_power())),
        energy_snr_s=seen.energy_snr_s,
        echo_class=drawn.echo_class,
        decay_time_s=drawn.decay_time_s,
        doppler_hz=drawn.doppler_hz,
        doppler_rate_hz_s=drawn.doppler_rate_hz_s,
        height_km=drawn.height_km,
        rds_pi=station.rds_pi or "",
    )


def _underdense(event: tables.Underdense, station: Transmitter, random: np.random.Generator) -> _Drawn:
    geometry = trail.trail_over_middle(station.distance_km, event.height_km, event.beta_deg)
    decay_s = trail.trail_decay_s(geometry, event.height_km, station.frequency_hz)
    crossing_s = trail.crossing_s(geometry, station.frequency_hz, event.speed_km_s)
    arrival = trail.underdense(event.start_s, crossing_s, decay_s, event.doppler_hz)
    return _Drawn(arrival, "underdense", decay_s, event.doppler_hz, height_km=event.height_km)


def _overdense(event: tables.Overdense, station: Transmitter, random: np.random.Generator) -> _Drawn:
    geometry = trail.trail_over_middle(station.distance_km, event.height_km, 90.0)
    decay_s = trail.trail_decay_s(geometry, event.height_km, station.frequency_hz)
    rise_s = 2 * trail.crossing_s(geometry, station.frequency_hz, _OVERDENSE_SPEED_KM_S)
    arrival = trail.overdense(
        event.start_s, event.duration_s, decay_s, rise_s, event.glints, event.drift_hz, event.doppler_hz, random
    )
    return _Drawn(arrival, "overdense", doppler_hz=event.doppler_hz, height_km=event.height_km)


def _head(event: tables.Head, station: Transmitter, random: np.random.Generator) -> _Drawn:
    arrival = trail.head(event.start_s, event.duration_s, event.doppler_hz, event.doppler_rate_hz_s)
    middle_hz = event.doppler_hz + event.doppler_rate_hz_s * event.duration_s / 2
    return _Drawn(arrival, "head", doppler_hz=middle_hz, doppler_rate_hz_s=event.doppler_rate_hz_s)


def _burst(event: tables.Burst, station: Transmitter, random: np.random.Generator) -> _Drawn:
    return _Drawn(
        other.burst(event.start_s, event.duration_s, event.doppler_hz), "unknown", doppler_hz=event.doppler_hz
    )


def _aircraft(event: tables.Aircraft, station: Transmitter, random: np.random.Generator) -> _Drawn:
    end_hz = -event.doppler_hz if event.doppler_end_hz is None else event.doppler_end_hz
    arrival = other.aircraft(event.start_s, event.duration_s, event.doppler_hz, end_hz, event.direct_share)
    return _Drawn(arrival, "aircraft", doppler_rate_hz_s=(end_hz - event.doppler_hz) / event.duration_s)


def _satellite(event: tables.Satellite, station: Transmitter, random: np.random.Generator) -> _Drawn:
    return _Drawn(other.satellite(event.start_s, event.duration_s, event.doppler_hz), "satellite")


def _sporadic_e(event: tables.SporadicE, station: Transmitter, random: np.random.Generator) -> _Drawn:
    return _Drawn(other.sporadic_e(event.start_s, event.duration_s, event.fading_hz, random), "sporadic-e")


def _ducting(event: tables.Ducting, station: Transmitter, random: np.random.Generator) -> _Drawn:
    return _Drawn(other.ducting(event.start_s, event.duration_s, event.fading_hz, random), "ducting")


_DRAWERS: dict[type, Callable[..., _Drawn]] = {
    tables.Burst: _burst,
    tables.Underdense: _underdense,
    tables.Overdense: _overdense,
    tables.Head: _head,
    tables.Aircraft: _aircraft,
    tables.Satellite: _satellite,
    tables.SporadicE: _sporadic_e,
    tables.Ducting: _ducting,
}


def _disturbances(scenario: Scenario, random: np.random.Generator) -> tuple[list[Arrival], list[TrueEvent]]:
    """Return the broad-band noise bursts, and the true events of all that hits every channel."""
    start_unix = scenario.recording.start_unix
    bursts, truths = [], []
    for flash in scenario.lightning:
        shape = other.lightning(flash.start_s, flash.duration_s, flash.strokes, random)
        bursts.append(shape.scaled(10 ** (flash.peak_snr_db / 10)))
        truths.append(_everywhere_noise(start_unix, bursts[-1], flash.peak_snr_db, "lightning"))
    for crackle in scenario.impulses:
        shape = other.impulses(crackle.start_s, crackle.duration_s, crackle.rate_hz, random)
        bursts.append(shape.scaled(10 ** (crackle.peak_snr_db / 10)))
        truths.append(_everywhere_noise(start_unix, bursts[-1], crackle.peak_snr_db, "interference"))
    for comb in scenario.comb:
        spans = (comb.start_s, comb.duration_s, comb.start_s)
        truths.append(_everywhere(start_unix, spans, comb.peak_snr_db, NAN, "interference"))
    for step in scenario.gain_step:
        rise = 10 ** (step.step_db / 10) - 1
        peak_db = float(10 * np.log10(rise)) if rise > 0 else NAN
        truths.append(
            _everywhere(start_unix, (step.start_s, step.duration_s, step.start_s), peak_db, NAN, "interference")
        )
    return bursts, truths


def _everywhere_noise(start_unix: float, burst: Arrival, peak_snr_db: float, echo_class: EchoClass) -> TrueEvent:
    seen = visible(burst, VISIBLE_SNR_DB["fm"])
    spans = (seen.start_s, seen.duration_s, seen.peak_s)
    return _everywhere(start_unix, spans, peak_snr_db, seen.energy_snr_s, echo_class)


def _everywhere(
    start_unix: float, spans: tuple[float, float, float], peak_snr_db: float, energy_snr_s: float, echo_class: EchoClass
) -> TrueEvent:
    start_s, duration_s, peak_s = spans
    return TrueEvent(
        channel=EVERY_CHANNEL,
        transmitter="",
        start_unix=start_unix + start_s,
        duration_s=duration_s,
        peak_unix=start_unix + peak_s,
        peak_snr_db=peak_snr_db,
        energy_snr_s=energy_snr_s,
        echo_class=echo_class,
    )
