"""What ``skyglint horizon`` prints."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from skyglint.horizon.experiment import Experiment


def in_words(found: Experiment) -> Iterator[str]:
    """Yield the answer in sentences."""
    from skyglint.report import horizon_words as words

    yield from words.verdict_sentences(found)
    yield from words.radius_sentences(found)
    if found.result is not None:
        yield words.fit_sentence(found)
    for one in found.silences:
        yield f"{one.channel}, {one.distance_km:.0f} km: {one.sentence}"
    if found.silences:
        yield words.silence_odds_sentence(found)
    if found.night is not None:
        for heights in found.night.heights:
            yield f"{heights.channel}: {heights.sentence}"
        yield found.night.clock.sentence


def as_document(found: Experiment) -> dict[str, Any]:
    """Return the answer for machines; what was not determined is null."""
    result = found.result
    effective = None if result is None or result.verdict == "plane" else result.effective
    names = ("median_km", "low_68_km", "high_68_km", "low_95_km", "high_95_km")
    low = {name: None if effective is None else getattr(effective, name) for name in names}
    return {
        "verdict": "cannot tell" if result is None else result.verdict,
        "reason": "no usable level" if result is None else result.reason,
        "effective_radius_km": low.pop("median_km"),
        **low,
        "log10_odds_round_to_plane": None if result is None else result.log10_odds,
        "levels_used": found.levels_used,
        "left_out": {} if found.survey is None else dict(found.survey.left_out),
        "earth_radius_km": None
        if result is None or result.verdict != "round"
        else {name: getattr(result.earth, name) for name in names},
        "fits": None
        if result is None
        else {
            name: {"offset_db": fit.offset_db, "scatter_db": fit.scatter_db, "wild": int((fit.wild > 0.5).sum())}
            for name, fit in (("round", result.round_fit), ("plane", result.plane_fit))
        },
        "silence": [_finite(dataclasses.asdict(one)) for one in found.silences],
        "silence_log10_odds_round_to_plane": _number(found.silence_log10_odds),
        "heights": []
        if found.night is None
        else [
            {
                "channel": one.channel,
                "distance_km": one.distance_km,
                "lowest_km": one.lowest_km,
                "measured": len(one.heights_km),
                "consistent": one.consistent,
            }
            for one in found.night.heights
        ],
        "solar_clock": None
        if found.night is None
        else _finite(
            {
                "echoes": found.night.clock.echoes,
                "hours_watched": found.night.clock.hours_watched,
                "morning_to_evening_ratio": found.night.clock.morning.ratio,
                "probability_by_chance": found.night.clock.morning.probability,
            }
        ),
    }


def _finite(values: dict[str, Any]) -> dict[str, Any]:
    return {name: _number(value) if isinstance(value, float) else value for name, value in values.items()}


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
