"""The horizon experiment in sentences, the same on the page and on a terminal; none claims more than the data give."""

from __future__ import annotations

import math

import numpy as np

from skyglint.horizon.experiment import WGS84_MEAN_RADIUS_KM, Experiment
from skyglint.horizon.radius import REFRACTION_HIGH, REFRACTION_LOW, Interval, odds_words
from skyglint.report.numbers import THIN, counted, fixed, quantity

_WORDS = {
    "round": "The levels say: round",
    "plane": "The levels say: plane",
    "cannot tell": "The levels cannot tell",
}


def kilometres(value: float) -> str:
    r"""Return a radius to three digits, thousands set apart.

    Examples
    --------
    >>> kilometres(8494.7), kilometres(12345.0)
    ('8\u202f490\u202fkm', '12\u202f300\u202fkm')
    """
    step = 10 ** (math.floor(math.log10(value)) - 2)
    return f"{round(value / step) * step:,.0f}{THIN}km".replace(",", THIN)


def verdict_sentences(experiment: Experiment) -> tuple[str, ...]:
    """Return the answer and what it rests on."""
    result, survey = experiment.result, experiment.survey
    if result is None or survey is None:
        return (f"{_WORDS['cannot tell']}: no measured level could be used.", *left_out_sentences(experiment))
    beyond = int(survey.links.beyond_horizon.sum())
    limits = int(survey.measured.is_limit.sum())
    basis = (
        f"It rests on {counted(experiment.levels_used, 'transmitter', 'transmitters')} from "
        f"{quantity(float(survey.links.distance_m.min()) / 1e3, 'km')} to "
        f"{quantity(float(survey.links.distance_m.max()) / 1e3, 'km')} away, {beyond} of them beyond the horizon of a "
        f"round Earth{f', {limits} of them only known to be weaker than a limit' if limits else ''}."
    )
    return f"{_WORDS[result.verdict]}. {_capital(result.reason)}.", basis, *left_out_sentences(experiment)


def left_out_sentences(experiment: Experiment) -> tuple[str, ...]:
    """Return which rows were not used, one sentence a reason."""
    if experiment.survey is None:
        return ()
    return tuple(
        f"Left out: {counted(count, 'level', 'levels')}, {reason}."
        for reason, count in sorted(experiment.survey.left_out.items())
    )


def radius_sentences(experiment: Experiment) -> tuple[str, ...]:
    """Return the effective radius and the Earth's, where the levels determine them."""
    result = experiment.result
    if result is None or result.verdict != "round":
        return ()
    earth = result.earth
    inside = earth.low_95_km <= WGS84_MEAN_RADIUS_KM <= earth.high_95_km
    return (
        f"The effective radius that fits best is {_with_intervals(result.effective)}: the Earth's radius times the "
        "factor by which the air bends the rays.",
        f"With a factor anywhere from {REFRACTION_LOW} to {REFRACTION_HIGH} the Earth's own radius is "
        f"{_with_intervals(earth)}. The mean radius of WGS{THIN}84, which nobody put in, is "
        f"{fixed(WGS84_MEAN_RADIUS_KM)[:1]}{THIN}{fixed(WGS84_MEAN_RADIUS_KM)[1:]}{THIN}km: "
        f"{'within' if inside else 'outside'} the 95{THIN}% interval.",
    )


def fit_sentence(experiment: Experiment) -> str:
    """Return how well each model fits and what it took."""
    result, survey = experiment.result, experiment.survey
    if result is None or survey is None:
        return ""
    parts = []
    for name, fit in (("round", result.round_fit), ("plane", result.plane_fit)):
        wild = int(np.sum(fit.wild > 0.5))
        parts.append(
            f"{name}: scatter {quantity(fit.scatter_db, 'dB')}, calibration {fixed(fit.offset_db)}{THIN}dB, "
            f"{counted(wild, 'wild level', 'wild levels')}"
        )
    air = (
        "no troposcatter is needed"
        if math.isinf(result.strength_db)
        else f"troposcatter {fixed(result.strength_db)}{THIN}dB over its formula"
    )
    beam = {1.0: "as declared", 0.5: "half as deep as declared", 0.0: "left out"}[experiment.view.pattern_depth]
    return (
        f"{'; '.join(parts)}. Over the round Earth {air}. Most probable view: smooth ground "
        f"{quantity(experiment.view.surface_height_m, 'm')} above the sea, the antenna's pattern {beam}."
    )


def silence_odds_sentence(experiment: Experiment) -> str:
    """Return what the targets' silence alone says."""
    odds = experiment.silence_log10_odds
    if math.isnan(odds):
        return "The targets' direct signals were not measured: give a database of results to compare them."
    for sign, name in ((1.0, "a round Earth"), (-1.0, "a plane")):
        if sign * odds >= 1.0:
            return f"The targets' direct signals alone favour {name}, {odds_words(sign * odds)}."
    return "The targets' direct signals alone favour neither model by ten to one."


def _with_intervals(interval: Interval) -> str:
    return (
        f"{kilometres(interval.median_km)} (68{THIN}%: {kilometres(interval.low_68_km)} to "
        f"{kilometres(interval.high_68_km)}; 95{THIN}%: {kilometres(interval.low_95_km)} to "
        f"{kilometres(interval.high_95_km)})"
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
