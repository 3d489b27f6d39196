"""The sentences of the month and year pages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import numpy as np

from skyglint.activity.month import Month
from skyglint.activity.shower_curve import CombinedShower
from skyglint.report.numbers import counted, distance, fixed, frequency, interval, quantity
from skyglint.report.season import ChannelSeason, SeasonPage
from skyglint.report.study_words import probability
from skyglint.sky.showers import load_showers

#: A shower is called detected from this many standard deviations on, and perhaps there from the second on.
DETECTED, PERHAPS = 5.0, 3.0


def title(page: SeasonPage) -> str:
    """Return the season in words, ``August 2026`` or ``2026``."""
    return page.evenings[0].strftime("%B %Y") if page.kind == "month" else page.name


def month_title(month: Month) -> str:
    """Return a month's name, ``August``."""
    return date.fromisoformat(f"{month.name}-01").strftime("%B")


def months_words(names: Sequence[str]) -> str:
    """Return the first and the last of some months, ``July to August``."""
    first, last = (date.fromisoformat(f"{name}-01").strftime("%B") for name in (names[0], names[-1]))
    return first if first == last else f"{first} to {last}"


def targets(page: SeasonPage) -> list[ChannelSeason]:
    """Return the target channels."""
    return [entry for entry in page.channels if entry.channel.role == "target"]


def hours(seconds: float) -> str:
    """Return a length of time in whole hours."""
    return quantity(seconds / 3600.0, "h", 0 if seconds >= 36_000.0 else 1)


def watched_share(page: SeasonPage, entry: ChannelSeason) -> float:
    """Return the share of the season in which a channel was watched."""
    return entry.watched_s / (page.end_unix - page.start_unix)


def watched_sentence(page: SeasonPage) -> str:
    """Return how many nights were watched, how long, and what was lost."""
    nights = int(np.sum(page.nights.exposure_h > 0))
    shares = [100.0 * watched_share(page, entry) for entry in page.channels]
    least, most = min(shares), max(shares)
    share = f"{fixed(most)}" if most - least < 1.0 else f"{fixed(least)} to {fixed(most)}"
    lost: dict[str, float] = {}
    for entry in page.channels:
        for reason, seconds in entry.lost_s.items():
            lost[reason] = max(lost.get(reason, 0.0), seconds)
    first = sorted(lost.items(), key=lambda item: -item[1])[:3]
    why = "; lost most to " + ", ".join(f"{reason} ({hours(seconds)})" for reason, seconds in first) if first else ""
    return f"Watched in {nights} of {len(page.evenings)} nights, {quantity_share(share)} of the time by channel{why}."


def quantity_share(text: str) -> str:
    """Return a share or span of shares with its unit."""
    return f"{text}\u202f%"


def count_sentence(page: SeasonPage) -> str:
    """Return how many echoes count."""
    echoes = sum(entry.echoes for entry in targets(page))
    text = counted(echoes, "echo", "echoes")
    return f"{text[0].upper()}{text[1:]} in {counted(len(targets(page)), 'target channel', 'target channels')}."


def scale_note(page: SeasonPage) -> str:
    """Return on whose scale all channels stand."""
    if not page.reference:
        return "No target channel was watched."
    if len(targets(page)) == 1:
        return f"Echoes of {page.reference} per hour."
    return (
        "All target channels together, as echoes per hour of a channel of mean sensitivity. A meteor that shows in two "
        "channels counts twice."
    )


def course_note(page: SeasonPage) -> str:
    """Return what the course of the day was made of."""
    told = "By local solar time: the Earth's leading side meets more meteors."
    if not page.shower_hours:
        return told
    return f"{told} {counted(page.shower_hours, 'hour', 'hours')} in which showers bring over 3\u202f% are left out."


def reference_words(page: SeasonPage) -> str:
    """Return the words behind a rate on the common scale."""
    return " (a mean target channel)" if len(targets(page)) > 1 else ""


def shower_name(code: str) -> str:
    """Return a shower's name with its code."""
    name = next((shower.name for shower in load_showers() if shower.iau_code == code), code)
    return f"{name} ({code})"


def shower_verdict(shower: CombinedShower) -> str:
    """Return in a word whether a shower was seen."""
    if not math.isfinite(shower.significance):
        return "cannot be told"
    if shower.significance >= DETECTED:
        return "detected"
    return "perhaps" if shower.significance >= PERHAPS else "not told from the background"


def zhr_words(shower: CombinedShower) -> str:
    """Return the equivalent zenithal hourly rate; an upper limit where the shower does not stand out."""
    flux = shower.flux
    if math.isnan(flux.zhr):
        return ""
    if shower.significance >= PERHAPS:
        return interval(flux.zhr, flux.zhr_low, flux.zhr_high, "").strip()
    upper = max(flux.zhr, 0.0) + 2.0 * (flux.zhr_high - flux.zhr)
    return f"under {fixed(upper, 0 if upper >= 10 else 1)}"


def flux_words(shower: CombinedShower) -> str:
    """Return the flux per thousand square kilometres and hour."""
    flux = shower.flux
    if shower.significance < PERHAPS or math.isnan(flux.flux_per_km2_h):
        return ""
    best, low, high = (1000.0 * value for value in (flux.flux_per_km2_h, flux.low_per_km2_h, flux.high_per_km2_h))
    return interval(best, low, high, "").strip()


def peak_words(shower: CombinedShower) -> str:
    """Return when the channels saw the maximum, solar longitude, by the channel that tells it best."""
    best = shower.peak
    if best is None:
        return ""
    return interval(float(best.longitude_deg), float(best.low_68_deg), float(best.high_68_deg), "").strip() + "°"


def seen_words(shower: CombinedShower) -> str:
    """Return which channels saw a shower best and worst, by their largest counted areas."""
    areas: dict[str, float] = {}
    for result in shower.results:
        areas[result.channel] = max(areas.get(result.channel, 0.0), float(result.area_km2.max(initial=0.0)))
    best = max(areas, key=lambda name: areas[name])
    worst = min(areas, key=lambda name: areas[name])
    if best == worst or not areas[best]:
        return best
    return f"{best} best, {worst} {quantity(100.0 * areas[worst] / areas[best], '%')} of it"


def spread_words(shower: CombinedShower) -> str:
    """Return how the channels agree."""
    return "" if math.isnan(shower.spread) else fixed(shower.spread, 1)


def way_words(entry: ChannelSeason) -> str:
    """Return a channel's frequency and how far away in which direction its transmitter stands."""
    told = [frequency(entry.channel.frequency_hz)]
    if math.isfinite(entry.distance_km):
        told += [distance(entry.distance_km), quantity(entry.bearing_deg, "°")]
    return ", ".join(told)


def middle_words(entry: ChannelSeason) -> str:
    """Return the hour of the maximum by the solar clock at the path's middle; empty where either is not known."""
    hour = float(entry.cycle.hour_of_maximum_h) + entry.middle_ahead_h
    return f"{quantity(hour % 24.0, 'h', 1)} at the path's middle" if math.isfinite(hour) else ""


def comparison_words(entry: ChannelSeason) -> str:
    """Return how a channel's course stands to the sources'."""
    if entry.comparison is None:
        return ""
    words = "as expected" if entry.comparison.probability >= 0.01 else "differs"
    return f"{words} ({probability(entry.comparison.probability)})"


def lost_words(entry: ChannelSeason) -> str:
    """Return what a channel lost and why, the most first."""
    shown = [f"{reason} {hours(seconds)}" for reason, seconds in list(entry.lost_s.items())[:4]]
    more = len(entry.lost_s) - len(shown)
    return ", ".join(shown) + (f", {more} more" if more else "")


def showers_note(page: SeasonPage) -> str:
    """Return how the showers were told from the background, or why none could be."""
    if not page.showers:
        return (
            "No shower of the table was active in view of a channel whose transmitter's place is known, or fewer than "
            "fifty echoes were there to tell one."
        )
    trusted = (
        "The absolute scale is the model's own, good to a factor of about three"
        if page.calibration == 1.0
        else f"Counts are divided by the calibration factor {page.calibration:g}"
    )
    return (
        "Maximum likelihood: counts = time watched × (sporadic course + showers over each path's counted area). "
        f"{trusted}; intervals are of counting alone."
    )
