"""How often trails that overlap are told from one trail that fades."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from skyglint.echoes.echo import Echo
from skyglint.simulate.frame_night import FrameNight
from skyglint.simulate.truth import TrueEvent
from skyglint.site import Kind
from skyglint.station.accuracy.matching import Match, match
from skyglint.station.accuracy.scenes import FM_HZ, Event, carrier_night, fm_night, hear

_PAIR_S, _SINGLE_S, _FIRST_S = 10.0, 30.0, 20.0


@dataclass(frozen=True, slots=True)
class Overlaps:
    """What became of pairs of overlapping trails, and of single trails that fade.

    Attributes
    ----------
    pairs
        Pairs found of which the second trail adds at least as much power as the first has left by then.
    apart, flagged
        Of these, the share given as two echoes, and as one that is flagged ``merged``.
    singles
        Single overdense trails that fade, found and counted as meteors.
    singles_flagged
        Of these, the share flagged ``merged`` although each is one.
    """

    pairs: int
    apart: float
    flagged: float
    singles: int
    singles_flagged: float

    @property
    def told(self) -> float:
        """Share of the pairs that were told to be more than one trail."""
        return self.apart + self.flagged


def overlap_flags(count: int, seed: int, kind: Kind = "fm") -> Overlaps:
    """Plant ``count`` pairs of underdense trails, 0.1 to 1 s and up to 3 dB apart, and as many single fading ones."""
    pairs = [
        echoes
        for first, second, echoes in planted_pairs(count, seed, kind)
        if echoes and second_adds(first, second) >= 1.0
    ]
    singles = [item.main for item in planted_singles(count, seed, kind)]
    meteors = [echo for echo in singles if echo is not None and echo.echo_class in ("underdense", "overdense")]
    return Overlaps(
        len(pairs),
        float(np.mean([len(echoes) > 1 for echoes in pairs])),
        float(np.mean([len(echoes) == 1 and "merged" in echoes[0].flags for echoes in pairs])),
        len(meteors),
        float(np.mean(["merged" in echo.flags for echo in meteors])),
    )


def planted_pairs(count: int, seed: int, kind: Kind) -> list[tuple[TrueEvent, TrueEvent, tuple[Echo, ...]]]:
    """Return pairs of trails with the echoes that overlap either."""
    rng = np.random.default_rng([seed, 1])
    rows: list[Event] = []
    for i in range(count):
        start_s = _FIRST_S + _PAIR_S * _slot(i, kind)
        peak_db = _peak_db(kind, rng)
        for later_s, stronger_db in ((0.0, 0.0), (rng.uniform(0.1, 1.0), rng.uniform(-3, 3))):
            place = {"transmitter": _station(i, kind), "start_s": start_s + float(later_s)}
            shape = {"height_km": float(rng.normal(92, 3)), "speed_km_s": float(rng.uniform(20, 65))}
            rows.append({**place, **shape, "peak_snr_db": peak_db + float(stronger_db)})
    night = _night({"underdense": rows}, kind, seed)
    found = match(night.truth.events, hear(night))
    return [_pair(one, two) for one, two in zip(found[::2], found[1::2], strict=True)]


def planted_singles(count: int, seed: int, kind: Kind) -> list[Match]:
    """Return single overdense trails of several glints with the echoes that overlap each."""
    rng = np.random.default_rng([seed, 2])
    rows = [
        {
            "transmitter": _station(i, kind),
            "start_s": _FIRST_S + _SINGLE_S * _slot(i, kind),
            "peak_snr_db": _peak_db(kind, rng),
            "duration_s": float(np.exp(rng.uniform(np.log(2.0), np.log(15.0)))),
            "glints": int(rng.integers(2, 6)),
            "drift_hz": float(rng.uniform(0.3, 1.5)),
            "height_km": float(rng.normal(92, 3)),
        }
        for i in range(count)
    ]
    night = _night({"overdense": rows}, kind, seed)
    return match(night.truth.events, hear(night))


def second_adds(first: TrueEvent, second: TrueEvent) -> float:
    """Return the second trail's peak power over what the first, decaying, has left by then."""
    later_s = max(second.peak_unix - first.peak_unix, 0.0)
    left_db = first.peak_snr_db - 20 * np.log10(np.e) * later_s / first.decay_time_s
    return float(10 ** ((second.peak_snr_db - left_db) / 10))


def _pair(one: Match, two: Match) -> tuple[TrueEvent, TrueEvent, tuple[Echo, ...]]:
    echoes = {id(echo): echo for echo in (*one.echoes, *two.echoes)}
    return one.event, two.event, tuple(echoes.values())


def _slot(number: int, kind: Kind) -> float:
    """Return the place of an event in time, one station after the other."""
    return number / len(FM_HZ) if kind == "fm" else float(number)


def _station(number: int, kind: Kind) -> str:
    return f"s{number % len(FM_HZ)}" if kind == "fm" else "s"


def _peak_db(kind: Kind, rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 15) if kind == "fm" else rng.uniform(45, 60))


def _night(tables: dict[str, list[Event]], kind: Kind, seed: int) -> FrameNight:
    duration_s = max(row["start_s"] for rows in tables.values() for row in rows) + _SINGLE_S
    return fm_night(tables, duration_s, seed) if kind == "fm" else carrier_night(tables, duration_s, seed)
