"""The sentences of the night page, made from its record: the state of the night before any dial."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from skyglint.report.figures.marks import class_word
from skyglint.report.figures.section import section_of
from skyglint.report.night import Lane, NightPage
from skyglint.report.numbers import clock, counted, quantity, span
from skyglint.store.records import StoredEcho

#: A floor that stays this close to its median through 95 % of the night is called steady.
STEADY_DB = 1.0


def targets(page: NightPage) -> list[Lane]:
    """Return the lanes of the target channels."""
    return [lane for lane in page.lanes if lane.channel.role == "target"]


def title_date(page: NightPage) -> str:
    """Return the night's two dates, the second as short as it can be: ``2026-08-12 to 13``."""
    first, second = page.date.isoformat(), (page.date + timedelta(days=1)).isoformat()
    shared = next(length for length in (8, 5, 0) if first[:length] == second[:length])
    return f"{first} to {second[shared:]}"


def watched_sentence(page: NightPage) -> str:
    """Return how long of how long was watched, from when to when, and what was lost and why."""
    length_s = page.end_unix - page.start_unix
    times = [lane.watched_s for lane in page.lanes]
    least, most = min(times), max(times)
    how_long = span(most) if most - least < 1.0 else f"{span(least)} to {span(most)}, by channel,"
    decimals = 0 if length_s < 3600.0 else -1
    when = f"from {clock(page.start_unix, decimals)} to {clock(page.end_unix, decimals)} UTC"
    return f"Watched {how_long} of {span(length_s)} {when}; {_lost_words(page)}."


def _lost_words(page: NightPage) -> str:
    reasons = lost_by_reason(page.lanes)
    if not reasons:
        return "nothing was lost"
    shown = [f"{span(seconds)} lost: {reason}" for reason, seconds in list(reasons.items())[:3]]
    more = len(reasons) - len(shown)
    return ", ".join(shown) + (f", and {counted(more, 'other reason', 'other reasons')} (below)" if more else "")


def lost_by_reason(lanes: Sequence[Lane]) -> dict[str, float]:
    """Return seconds not watched by reason, of the channel that lost the most by it; the longest first."""
    most: dict[str, float] = {}
    for lane in lanes:
        total: dict[str, float] = defaultdict(float)
        for lost in lane.lost:
            total[lost.reason] += lost.end_unix - lost.start_unix
        for reason, seconds in total.items():
            most[reason] = max(most.get(reason, 0.0), seconds)
    return dict(sorted(most.items(), key=lambda item: -item[1]))


def floor_reach_db(lane: Lane) -> float:
    """Return how close to its median the floor stayed for 95 % of the time, dB; NaN where it was not measured."""
    known = lane.floor.floor_db[np.isfinite(lane.floor.floor_db)]
    return float(np.percentile(np.abs(known - np.median(known)), 95.0)) if known.size else float("nan")


def floor_sentence(page: NightPage) -> str:
    """Return whether the floors stood still, and which moved most."""
    reaches = {lane.channel.name: floor_reach_db(lane) for lane in page.lanes}
    known = {name: reach for name, reach in reaches.items() if np.isfinite(reach)}
    if not known:
        return "The floor was not measured."
    worst = max(known, key=lambda name: known[name])
    reach = max(known[worst], 0.1)
    if reach <= STEADY_DB:
        return f"Floor steady within {quantity(reach, 'dB', 1)}."
    return f"Floor moved by up to {quantity(reach, 'dB', 1)} ({worst})."


def count_sentence(page: NightPage) -> str:
    """Return how many echoes count, and what else was found."""
    lanes = targets(page)
    roles = {lane.channel.name: lane.channel.role for lane in page.lanes}
    meteors = sum(lane.night.echoes for lane in lanes)
    others = Counter(
        "in guard or reference channels" if roles.get(entry.echo.channel) != "target" else class_word(entry.echo_class)
        for entry in page.echoes
        if not counts(page, entry)
    )
    text = counted(meteors, "echo", "echoes")
    text = f"{text[0].upper()}{text[1:]} in {counted(len(lanes), 'target channel', 'target channels')}"
    if not others:
        return text + "."
    kinds = ", ".join(f"{number if len(others) > 1 else 'all'} {kind}" for kind, number in others.most_common())
    return f"{text}; {counted(sum(others.values()), 'burst', 'bursts')} not counted ({kinds})."


def counts(page: NightPage, entry: StoredEcho) -> bool:
    """Tell whether a burst counts as a meteor: its class is one of a meteor and its channel a target."""
    return entry.meteoric and any(lane.channel.name == entry.echo.channel for lane in targets(page))


def satellite_words(entry: StoredEcho) -> str:
    """Return which satellites both ends saw at an echo's peak, by catalogue number; empty for none."""
    up = [
        f"{tag.name} ({quantity(tag.details.get('elevation_deg', float('nan')), '°')} high)"
        for tag in entry.tags
        if tag.kind == "satellite"
    ]
    return f"satellite in view: {', '.join(up)}" if up else ""


def stations_sentence(page: NightPage, lane: Lane) -> str:
    """Return which programme codes were heard within a channel's echoes, and in how many; empty for none."""
    heard = Counter(
        entry.echo.rds_pi for entry in page.echoes if entry.echo.channel == lane.channel.name and entry.echo.rds_pi
    )
    codes = [f"{code} in {counted(number, 'echo', 'echoes')}" for code, number in heard.most_common()]
    return f"Station heard: {', '.join(codes)}." if codes else ""


def section_caption(lane: Lane) -> str:
    """Return in words what the cross-section of a channel's path shows."""
    path = section_of(lane.distance_km)
    depth = quantity(path.sagitta_km, "km", 1 if path.sagitta_km < 10.0 else 0)
    under = f"The straight line runs {depth} under the ground at the middle"
    if path.elevation_deg <= 0.0:
        return f"{under}; even a trail 95\u202fkm up is hidden from both ends there."
    return f"{under}; a trail 95\u202fkm above it stands {quantity(path.elevation_deg, '°')} high from both ends."


def echo_words(entry: StoredEcho, unit: str) -> str:
    """Return the words of an echo's mark: class, channel, time, peak and length."""
    echo = entry.echo
    return (
        f"{class_word(entry.echo_class)}, {echo.channel}, {clock(echo.start_unix)} UTC, "
        f"{quantity(echo.peak_snr_db, unit, 1)}, {span(echo.duration_s)}"
    )


def best_note(page: NightPage) -> str:
    """Return what the gallery shows, or why it is empty."""
    if page.best:
        return (
            "The strongest of each kind in turn. Time runs from the echo's start; each spectrogram runs from paper at "
            "the floor to ink at its strongest."
        )
    if page.echoes:
        return "Nothing that was found tonight counts as a meteor; the table lists what it was taken for."
    return (
        "Nothing was found tonight. That can be true of a short watch; after a whole night look at the floors below, "
        "and check the receiver and the antenna."
    )


def rates_note(page: NightPage) -> str:
    """Return how to read the rates."""
    content = quantity(100.0 * page.confidence, "%")
    return (
        f"A bar is as wide as its hour was watched and stands on its count where there is room; the line on it is the "
        f"{content} interval. One scale for all channels, and one for all cross-sections."
    )


def table_note(page: NightPage) -> str:
    """Return what the table lists, or that it is empty."""
    if not page.echoes:
        return "None were found."
    dim = any(not counts(page, entry) for entry in page.echoes)
    return "In order of time." + (" Grey rows are not counted." if dim else "")


def lost_rows(page: NightPage) -> list[tuple[str, str, float]]:
    """Return channels, reason and seconds lost; channels that lost the same by the same reason share a row."""
    shared: dict[tuple[str, int], list[str]] = defaultdict(list)
    for lane in page.lanes:
        for reason, seconds in lost_by_reason([lane]).items():
            shared[reason, round(100.0 * seconds)].append(lane.channel.name)
    everyone = len(page.lanes)
    return [
        ("all" if len(names) == everyone > 1 else ", ".join(names), reason, hundredths / 100.0)
        for (reason, hundredths), names in shared.items()
    ]
