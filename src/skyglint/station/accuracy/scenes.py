"""Simulated nights for the accuracy figures, and what the detector hears in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from skyglint.echoes.detector import Detector
from skyglint.echoes.echo import Echo
from skyglint.echoes.settings import DetectionSettings
from skyglint.simulate.frame_night import FrameNight, frame_night
from skyglint.simulate.scenario import Scenario
from skyglint.site import Channel

#: Invented stations: four programmes, a guard and a local station within one receiver's span, and one carrier.
FM_HZ = (97_100_000.0, 97_500_000.0, 98_300_000.0, 98_700_000.0)
GUARD_HZ = 99_100_000.0
REFERENCE_HZ = 97_900_000.0
REFERENCE_SNR_DB = 30.0
CARRIER_HZ = 143_050_000.0
PROGRAMMES = ("music", "speech", "music", "speech")
DISTANCE_KM = 1000.0

_START_UTC = "2026-08-13T02:00:00Z"

Event = dict[str, Any]


def fm_night(
    events: Mapping[str, Sequence[Event]],
    duration_s: float,
    seed: int,
    direct_snr_db: Sequence[float] = (),
    reference: bool = False,
    **receiver: float,
) -> FrameNight:
    """Return a night of four FM stations ``s0`` to ``s3`` in channels of the same names, and a guard.

    ``direct_snr_db`` are the levels of the stations' direct signals (none, where it is empty); ``reference`` adds a
    local station in a channel ``reference``.
    """
    stations: list[Event] = [
        {"name": f"s{i}", "kind": "fm", "frequency_hz": hz, "programme": PROGRAMMES[i], "distance_km": DISTANCE_KM}
        for i, hz in enumerate(FM_HZ)
    ]
    for station, level_db in zip(stations, direct_snr_db, strict=False):
        station["direct_snr_db"] = level_db
    channels = [Channel(name=f"s{i}", role="target", kind="fm", frequency_hz=hz) for i, hz in enumerate(FM_HZ)]
    channels.append(Channel(name="guard", role="guard", kind="fm", frequency_hz=GUARD_HZ))
    if reference:
        local = {"kind": "fm", "frequency_hz": REFERENCE_HZ, "programme": "music", "direct_snr_db": REFERENCE_SNR_DB}
        stations.append({"name": "reference", **local})
        channels.append(Channel(name="reference", role="reference", kind="fm", frequency_hz=REFERENCE_HZ))
    recording = _recording(duration_s, 2_400_000.0, 98_000_000.0, seed)
    return _night(recording, stations, events, channels, receiver)


def carrier_night(events: Mapping[str, Sequence[Event]], duration_s: float, seed: int, **station: float) -> FrameNight:
    """Return a night of one carrier ``s`` in a channel of the same name."""
    return carrier_lines_night(events, duration_s, seed, [{"name": "s", **station}])


def carrier_lines_night(
    events: Mapping[str, Sequence[Event]], duration_s: float, seed: int, lines: Sequence[Event]
) -> FrameNight:
    """Return a night of several lines in the channel ``s`` of a carrier."""
    common = {"channel": "s", "kind": "carrier", "frequency_hz": CARRIER_HZ, "distance_km": DISTANCE_KM}
    channels = [Channel(name="s", role="target", kind="carrier", frequency_hz=CARRIER_HZ)]
    recording = _recording(duration_s, 200_000.0, CARRIER_HZ, seed)
    return _night(recording, [{**common, **line} for line in lines], events, channels, {})


def hear(night: FrameNight, settings: DetectionSettings | None = None, block_s: float = 10.0) -> list[Echo]:
    """Return all echoes that the detector finds in a night, by start time.

    A receiver's gain wanders from block to block, and evenly within one of ``block_s``.
    """
    detector = Detector(night.channels, night.grids, night.geometry.frame_s, settings)
    echoes: list[Echo] = []
    for block in night.blocks(block_s):
        for findings in detector.process(block):
            echoes += findings.echoes
    for findings in detector.finish():
        echoes += findings.echoes
    return sorted(echoes, key=lambda echo: echo.start_unix)


def _recording(duration_s: float, rate_hz: float, center_hz: float, seed: int) -> Event:
    return {
        "start_utc": _START_UTC,
        "duration_s": float(duration_s),
        "sample_rate_hz": rate_hz,
        "center_frequency_hz": center_hz,
        "seed": seed,
    }


def _night(
    recording: Event,
    stations: Sequence[Event],
    events: Mapping[str, Sequence[Event]],
    channels: Sequence[Channel],
    receiver: Mapping[str, float],
) -> FrameNight:
    tables = {name: tuple(rows) for name, rows in events.items()}
    scenario = Scenario.model_validate(
        {"recording": recording, "receiver": dict(receiver), "transmitter": tuple(stations), **tables}
    )
    return frame_night(scenario, channels)
