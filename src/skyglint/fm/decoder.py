"""Which PI code a burst carries, and how likely that is wrong: Bayes over every alignment and every code.

The rules by which a person accepts a code (a second block 26 bits away, the same code 104 bits later or in C', a
match to a short list) all follow from one sum: the evidence of each alignment for each code against random bits, with
equal prior odds for "RDS" and "none", 104 alignments alike, and the code either any of 65,536 or one of those listed
for the frequency. Errors are corrected exactly as far as no other word of the code comes near: a correction that
another word could also claim leaves the probability of a wrong code high.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.fm.alignment import Alignments, align
from skyglint.fm.blocks import GROUP_BITS
from skyglint.fm.evidence import most_evidence
from skyglint.fm.subcarrier import SoftBits

#: A code is given only when the probability of a wrong one is below this.
ACCEPTED_BELOW = 1e-4
#: Alignments for which all codes are tried; the rest count with their evidence for "another code".
_TRIED_ALIGNMENTS = 5
#: ... and those that speak for RDS at all (ln evidence; acceptance takes 25) and are not far behind the best.
_NOISE = 8.0
_FAR_BEHIND = 20.0
_CODES = 1 << 16


@dataclass(frozen=True, slots=True)
class Reading:
    """What the soft bits of a burst say.

    Attributes
    ----------
    code
        The most probable PI code.
    wrong_probability
        Probability that it is wrong, or that there is no RDS at all.
    declared_wrong_probability
        Bound on the probability with which noise, or another station, would speak as strongly for the declared code;
        1 when none is declared.
    soft_bits, alignment
        The timing and the alignment that speak most for the code, for reading the groups.
    """

    code: int
    wrong_probability: float
    declared_wrong_probability: float
    soft_bits: Alignments
    alignment: int


def decode(received: Sequence[SoftBits], declared: int | None = None, candidates: Sequence[int] = ()) -> Reading | None:
    """Return the reading of a burst, or ``None`` when its bits are too few or too weak to say anything.

    Parameters
    ----------
    received
        The burst at its possible timings, taken as equally likely.
    declared
        PI code that the channel should carry.
    candidates
        PI codes of the stations listed for the frequency; they get half of the prior probability.
    """
    able = [bits.ratios for bits in received if most_evidence(bits.ratios).sum() > -math.log(ACCEPTED_BELOW)]
    if not able:
        return None
    runs = [align(ratios) for ratios in able]
    unknown = np.stack([run.unknown_code() for run in runs])
    known = {code: np.stack([run.known_code(code) for run in runs]) for code in _named(declared, candidates)}
    tried = _worth_trying(runs, np.max([unknown, *known.values()], axis=0))
    # ln of the mean evidence over timings and alignments.
    spread = math.log(unknown.size)
    tables = np.stack([runs[run].every_code(alignment) for run, alignment in tried]) - spread
    codes = log_sum(tables)
    for place in tried:
        unknown[place] = -np.inf
    elsewhere = float(log_sum(unknown.ravel())) - spread
    for named, evidence in known.items():
        for place in tried:
            evidence[place] = -np.inf
        codes[named] = np.logaddexp(codes[named], log_sum(evidence.ravel()) - spread)
    code, wrong = _most_probable(codes + _prior(candidates), elsewhere)
    doubt = 1.0
    if declared is not None:
        rivals = float(log_sum(np.delete(codes, declared))) - math.log(_CODES)
        doubt = _ratio(max(0.0, float(np.logaddexp(rivals, elsewhere))), float(codes[declared]))
    run, alignment = tried[int(np.argmax(tables[:, code]))]
    return Reading(code, wrong, doubt, runs[run], alignment)


def _worth_trying(runs: Sequence[Alignments], promise: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Return timing and alignment of those for which every code shall be tried, most promising first.

    ``promise`` of shape (runs, 104) is their evidence as far as known. One that cannot rise above noise, or stays far
    behind the best, changes nothing.
    """
    most = np.stack([run.most_for_a_code() for run in runs]).ravel()
    least = math.log(promise.size) + math.log(_CODES) + math.log(ACCEPTED_BELOW)
    flat = promise.ravel()
    first, *more = (int(place) for place in np.argsort(flat)[::-1][:_TRIED_ALIGNMENTS])
    worth = [place for place in more if most[place] > least and flat[place] > max(_NOISE, flat[first] - _FAR_BEHIND)]
    return [divmod(place, GROUP_BITS) for place in (first, *worth)]


def _most_probable(posterior: NDArray[np.float64], elsewhere: float) -> tuple[int, float]:
    """Return the code with the greatest posterior and the probability that it is wrong; "no RDS" weighs 1."""
    code = int(np.argmax(posterior))
    against = float(np.logaddexp(log_sum(np.delete(posterior, code)), np.logaddexp(0.0, elsewhere)))
    wrong = _ratio(against, float(np.logaddexp(against, posterior[code])))
    return code, wrong


def _ratio(upper: float, lower: float) -> float:
    """Return the ratio of two logarithms' numbers, at most 1."""
    return math.exp(min(0.0, upper - lower))


def log_sum(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return ln of the sum of exponentials along the first axis."""
    top = np.max(values, axis=0)
    total: NDArray[np.float64] = np.log(np.sum(np.exp(values - top), axis=0)) + top
    return total


def _named(declared: int | None, candidates: Sequence[int]) -> list[int]:
    return sorted({*candidates, *([] if declared is None else [declared])})


def _prior(candidates: Sequence[int]) -> NDArray[np.float64]:
    """Return ln of the prior of each code, shape (65536,)."""
    prior = np.full(_CODES, 1.0 / _CODES)
    listed = sorted(set(candidates))
    if listed:
        prior /= 2
        prior[listed] += 0.5 / len(listed)
    logarithm: NDArray[np.float64] = np.log(prior)
    return logarithm
