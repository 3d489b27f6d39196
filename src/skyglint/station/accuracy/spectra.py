"""What the detector gains by learning a station's own spectrum from its strong echoes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from skyglint.simulate.frame_night import FrameNight, frame_night
from skyglint.simulate.scenario import Scenario
from skyglint.site import Channel
from skyglint.station.accuracy.completeness import ideal_energy_snr_db
from skyglint.station.accuracy.matching import match
from skyglint.station.accuracy.scenes import DISTANCE_KM, FM_HZ, Event, hear

#: Stations by what their programme makes of the spectrum (as the model expects it, narrower, next to a carrier), and
#: the level of bursts at which learning shows, in decibels over the one at which the ideal detector finds half.
STATIONS: dict[str, tuple[Event, float]] = {
    "music": ({"programme": "music"}, 0.0),
    "speech": ({"programme": "speech"}, 0.0),
    "quiet speech in mono": ({"programme": "speech", "pilot_hz": 0.0, "deviation_hz": 20_000.0}, -2.0),
    "pilot and RDS alone": ({"programme": "silence", "rds_pi": "D3A1"}, -5.0),
}

_STRONG = 14  # echoes of each station between the two halves of a night
_SPACING_S = 12.0


@dataclass(frozen=True, slots=True)
class Learning:
    """Share of weak bursts found by the model's spectrum, and by that learnt from strong echoes in between.

    ``level_db`` is their SNR in 200 kHz over that at which the ideal detector finds half; ``bursts`` of them were
    planted in each half.
    """

    level_db: float
    bursts: int
    found_by_model: float
    found_by_learnt: float


def learning(station: Event, seed: int, rounds: int, level_db: float, burst_s: float = 0.5) -> Learning:
    """Plant weak flat bursts before and after some strong underdense echoes of four stations of the same kind."""
    half_s = 30.0 + _SPACING_S * rounds
    rng = np.random.default_rng(seed)
    strong_s = half_s + 34.0 * _STRONG + 130.0  # the weights are set anew each minute
    snr_db = ideal_energy_snr_db(burst_s) + level_db
    weak = [
        {
            "transmitter": f"s{i}",
            "start_s": begin_s + 20.0 + _SPACING_S * k + 2.5 * i + float(rng.uniform(0, 1)),
            "peak_snr_db": snr_db,
            "duration_s": burst_s,
        }
        for begin_s in (0.0, strong_s)
        for k in range(rounds)
        for i in range(len(FM_HZ))
    ]
    strong = [
        {
            "transmitter": f"s{i}",
            "start_s": half_s + 8.0 * i + 34.0 * k + float(rng.uniform(0, 1)),
            "peak_snr_db": float(rng.uniform(6, 15)),
            "height_km": float(rng.normal(92, 2)),
            "speed_km_s": 40.0,
        }
        for k in range(_STRONG)
        for i in range(len(FM_HZ))
    ]
    night = _night(station, {"burst": tuple(weak), "underdense": tuple(strong)}, strong_s + half_s, seed)
    begin_unix = night.truth.events[0].start_unix
    found: tuple[list[bool], list[bool]] = ([], [])
    for item in match(night.truth.events, hear(night), slack_s=0.0):
        since_s = item.event.start_unix - begin_unix
        if not half_s - 22.0 <= since_s < strong_s - 22.0:
            found[since_s > half_s].append(bool(item.echoes))
    return Learning(level_db, len(found[0]), float(np.mean(found[0])), float(np.mean(found[1])))


def _night(station: Event, events: Event, duration_s: float, seed: int) -> FrameNight:
    recording = {
        "start_utc": "2026-08-13T02:00:00Z",
        "duration_s": duration_s,
        "sample_rate_hz": 2_400_000.0,
        "center_frequency_hz": 98_000_000.0,
        "seed": seed,
    }
    common = {"kind": "fm", "distance_km": DISTANCE_KM, **station}
    stations = tuple({**common, "name": f"s{i}", "frequency_hz": hz} for i, hz in enumerate(FM_HZ))
    channels = [Channel(name=f"s{i}", role="target", kind="fm", frequency_hz=hz) for i, hz in enumerate(FM_HZ)]
    return frame_night(Scenario.model_validate({"recording": recording, "transmitter": stations, **events}), channels)
