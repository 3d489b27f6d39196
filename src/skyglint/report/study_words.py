"""Sentences about what rates and echoes say: each tells its result with its error, or why the data cannot tell."""

from __future__ import annotations

import math

from skyglint.activity.daily import DailyCycle, MorningTest
from skyglint.activity.mass_index import MassIndex
from skyglint.activity.nights import CombinedRate
from skyglint.report.numbers import THIN, counted, fixed, interval, measured, quantity
from skyglint.report.season import Pair, Verdicts

#: Above this probability a difference is not told as one.
CHANCE = 0.05
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


def cycle_can_be_told(hours_seen: int, span_h: float) -> bool:
    """Tell whether a watch is long enough for a course of the day: a sine through a few hours says anything."""
    return hours_seen >= LEAST_HOURS and span_h >= LEAST_HOURS


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


def nights_sentence(total: CombinedRate) -> str:
    """Return the mean rate over nights, its interval, and how that was found."""
    if math.isnan(total.rate_per_h):
        return "No target channel was live."
    rate = interval(total.rate_per_h, total.low_per_h, total.high_per_h, "/ h")
    return f"Mean over the nights {rate} ({total.method})."


def mass_index_words(index: MassIndex) -> str:
    """Return a mass index with its 68 % limits and the number of echoes, or that there are too few."""
    if math.isnan(index.mass_index):
        return f"cannot be told from {counted(index.echoes, 'echo', 'echoes')}"
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
