"""Sentences about what rates and echoes say: each tells its result with its error, or why the data cannot tell."""

from __future__ import annotations

import math

import numpy as np

from skyglint.activity.almanac import ShowerDay
from skyglint.activity.daily import DailyCycle, MorningTest
from skyglint.activity.mass_index import MassIndex
from skyglint.activity.month import Pair, Verdicts
from skyglint.activity.nights import CombinedRate
from skyglint.report.numbers import THIN, clock, counted, fixed, interval, measured, quantity
from skyglint.report.study import NightStudy

#: Above this probability a difference is not told as one.
CHANCE = 0.05
#: Showers that are listed, the response under which a path hardly sees one, and the paths that are named.
MOST_SHOWERS, HARDLY, BEST_PATHS = 6, 0.02, 3
#: A course of the day is told from this many hours of the clock on.
LEAST_HOURS = 8


def probability(value: float) -> str:
    """Return a probability as a reader compares it.

    Examples
    --------
    >>> probability(0.0314), probability(3e-9), probability(0.8)
    ('p = 0.031', 'p < 0.000001', 'p = 0.80')
    """
    if math.isnan(value):
        return ""
    if value < 1e-6:
        return "p < 0.000001"
    return f"p = {value:.2f}" if value >= 0.1 else f"p = {value:.{1 - math.floor(math.log10(value))}f}"


def cycle_sentence(cycle: DailyCycle, scale: str = "") -> str:
    """Return mean, amplitude and hour of the maximum, or that the hours watched cannot tell them.

    ``scale`` says on whose scale a rate of several channels stands.
    """
    if not math.isfinite(cycle.mean_per_h):
        return "The hours that were watched cannot tell the course of the day."
    mean = f"Mean over the day {measured(float(cycle.mean_per_h), float(cycle.mean_sd_per_h), f'/{THIN}h')}{scale}"
    if math.isnan(cycle.hour_of_maximum_h):
        chance = probability(float(cycle.probability_constant))
        return f"{mean}; a course of the day does not stand out from chance ({chance})."
    amplitude = measured(float(cycle.amplitude), float(cycle.amplitude_sd), "").strip()
    hour = measured(float(cycle.hour_of_maximum_h), float(cycle.hour_of_maximum_sd_h), "h")
    ratio = f", {fixed(float(cycle.ratio), 1)} times the minimum" if cycle.amplitude < 0.95 else ""
    return f"{mean}, relative amplitude {amplitude}, maximum at {hour} local solar time{ratio}."


def night_cycle_sentence(study: NightStudy) -> str:
    """Return a night's course of the day, or that the watch was too short: a sine through few hours says anything."""
    if not study.hours_seen:
        return "Too little was watched to tell the course of the day."
    if study.hours_seen < LEAST_HOURS:
        seen = counted(study.hours_seen, "hour", "hours")
        return f"{seen[0].upper()}{seen[1:]} of the day watched: too few to tell the course of the day."
    return cycle_sentence(study.cycle)


def comparison_sentence(study: NightStudy) -> str:
    """Return how the hours stand to the course that the sporadic sources should give."""
    if study.comparison is None or math.isnan(study.comparison.probability):
        return (
            "Too few hours were watched, or no transmitter's place is known, to hold them against the sporadic sources."
        )
    chance = study.comparison.probability
    verdict = "follow" if chance >= 0.01 else "do not follow"
    return f"The hours {verdict} the course expected of the sporadic sources on these paths ({probability(chance)})."


def shower_rows(study: NightStudy) -> list[tuple[str, str, str]]:
    """Return name, highest altitude with its UTC hour, and how each path sees it, for every active shower."""
    rows = []
    for day in study.showers[:MOST_SHOWERS]:
        best = int(np.argmax(day.altitude_deg))
        high = day.altitude_deg[best]
        clock_h = clock(study.shower_hours_unix[best], -1)
        altitude = f"{quantity(float(high), '°')} at {clock_h}" if high > 0 else "never rose"
        rows.append((f"{day.shower.name} ({day.shower.iau_code})", altitude, _seen(day, study.shower_hours_unix)))
    return rows


def _seen(day: ShowerDay, hours_unix: tuple[float, ...]) -> str:
    """Return how the paths see a shower in its best hour there: the best of them, and the worst of many."""
    best = {name: float(shares.max()) for name, shares in day.response.items()}
    ranked = sorted(best, key=lambda name: -best[name])
    told = [
        f"{name} {fixed(best[name], 2)} at {clock(hours_unix[int(np.argmax(day.response[name]))], -1)}"
        if best[name] >= HARDLY
        else f"{name} hardly"
        for name in ranked[:BEST_PATHS]
    ]
    if len(ranked) > BEST_PATHS:
        told.append(f"least {ranked[-1]} {fixed(best[ranked[-1]], 2)}")
    return "; ".join(told)


def morning_sentence(test: MorningTest) -> str:
    """Return whether more came before local noon than after it, with the probability of chance."""
    if math.isnan(test.probability):
        return "Only one side of the day was watched, so that morning and evening cannot be compared."
    first, second = (quantity(hours, "h", 1 if hours < 100.0 else 0) for hours in (test.before_h, test.after_h))
    rates = (
        f"{counted(test.before, 'echo', 'echoes')} in {first} between midnight and noon, "
        f"{counted(test.after, 'echo', 'echoes')} in {second} between noon and midnight"
    )
    verdict = "More before noon than after" if test.probability < CHANCE else "No surplus before noon stands out"
    ratio = f", {fixed(test.ratio, 2)} times the rate" if math.isfinite(test.ratio) else ""
    return f"{verdict}: {rates}{ratio} (exact binomial test, {probability(test.probability)})."


def scatter_sentence(dispersion: float, chance: float, what: str = "The hours") -> str:
    """Return whether counts scatter more than Poisson counts, and that errors allow for it."""
    if not math.isfinite(dispersion):
        return ""
    if chance >= 0.01:
        return f"{what} scatter about it as Poisson counts do (variance {fixed(dispersion, 2)} times theirs)."
    times = fixed(dispersion, 1 if dispersion < 10.0 else 0)
    return f"{what} scatter {times} times as much as Poisson counts (variance); errors are widened for it."


def night_levels_sentence(cycle: DailyCycle) -> str:
    """Return how much whole nights scatter beyond counts; empty where too few can tell."""
    if not math.isfinite(cycle.nights_sd):
        return ""
    share = 100.0 * float(cycle.nights_sd)
    if share < 1.0:
        return "The levels of whole nights scatter no more than counts do."
    return f"The levels of whole nights scatter by {quantity(share, '%')} beyond what counts do; errors allow for it."


def nights_sentence(total: CombinedRate) -> str:
    """Return the mean rate over nights, its interval, how that was found, and why so."""
    if math.isnan(total.rate_per_h):
        return "No target channel was live."
    rate = interval(total.rate_per_h, total.low_per_h, total.high_per_h, "/ h")
    if math.isnan(total.probability):
        return f"Mean over the nights {rate} ({total.method})."
    chance = probability(total.probability)
    if total.method.startswith("Poisson"):
        return f"Mean over the nights {rate} ({total.method}: they scatter no more than counts do, {chance})."
    times = fixed(total.dispersion, 1 if total.dispersion < 10.0 else 0)
    return (
        f"Mean over the nights {rate} ({total.method}: with showers and all they scatter {times} times as much as "
        f"Poisson counts, {chance})."
    )


def mass_index_words(index: MassIndex) -> str:
    """Return a mass index with its 68 % limits and the number of echoes, or that there are too few."""
    if math.isnan(index.mass_index):
        return "cannot be told, too few echoes"
    limits = interval(index.mass_index, index.low_68, index.high_68, "").strip()
    return f"{limits}, {counted(index.echoes, 'echo', 'echoes')}"


def pairs_sentence(pairs: tuple[Pair, ...]) -> str:
    """Return what the comparison of channels found as a whole."""
    known = [pair for pair in pairs if not math.isnan(pair.found.probability)]
    if not known:
        return "No two channels watched long enough together to tell coincidences from chance."
    telling = [pair for pair in known if pair.found.probability < CHANCE / len(known)]
    compared = counted(len(known), "pair of channels", "pairs of channels")
    if not telling:
        return f"Of {compared} compared, none shares more echoes than chance brings together."
    more = counted(len(telling), "shares", "share")
    return (
        f"Of {compared} compared, {more} more echoes than chance brings together: the same meteors seen twice. "
        "Added up they count twice."
    )


def verdicts_sentence(verdicts: Verdicts) -> str:
    """Return how often the operator agrees with the machine; empty where nothing was judged."""
    if not verdicts.judged:
        return ""
    share = quantity(100.0 * verdicts.agreed / verdicts.judged, "%")
    text = f"The operator judged {counted(verdicts.judged, 'burst', 'bursts')} and agreed with the machine on {share}"
    if not verdicts.differences:
        return text + "."
    named = [f"{machine} was {operator} in {number}" for machine, operator, number in verdicts.differences[:3]]
    return f"{text}; {', '.join(named)}."
