"""What was found, held against what is known to be there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from skyglint.echoes.echo import METEORIC
from skyglint.simulate.truth import TrueEvent, Truth
from skyglint.store.records import StoredEcho

#: How far the edges of an echo may lie outside the true event's and still be it.
SLACK_S = 0.1


@dataclass(frozen=True, slots=True)
class Pair:
    """A true event and the echo that is it; ``None`` where one of the two is missing."""

    true: TrueEvent | None
    found: StoredEcho | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Meteors paired with echoes, channel by channel.

    Attributes
    ----------
    pairs
        By time. A true meteor that lies within an echo already given to a stronger one shares that echo.
    n_true, n_found
        True meteors, and how many of them lie within an echo.
    n_false
        Echoes counted as meteors where no meteor was.
    """

    pairs: tuple[Pair, ...]
    n_true: int
    n_found: int
    n_false: int


def compare(truth: Truth, found: Iterable[StoredEcho], channels: Sequence[str]) -> Comparison:
    """Pair the meteors of the truth with the echoes counted as meteors in the named channels.

    A meteor that peaked while nothing was recorded is left out: nobody could have found it.
    """
    meteors = [
        event
        for event in truth.events
        if event.echo_class in METEORIC and event.channel in channels and not _in_a_loss(event, truth)
    ]
    echoes = [echo for echo in found if echo.meteoric and echo.echo.channel in channels]
    pairs: list[Pair] = []
    used: set[int] = set()
    for event in sorted(meteors, key=lambda event: -event.peak_snr_db):
        match = next((echo for echo in echoes if _same(event, echo)), None)
        if match is not None:
            used.add(match.id)
        pairs.append(Pair(event, match))
    false = [Pair(None, echo) for echo in echoes if echo.id not in used]
    n_found = sum(pair.found is not None for pair in pairs)
    ordered = sorted([*pairs, *false], key=_time)
    return Comparison(tuple(ordered), len(meteors), n_found, len(false))


def _in_a_loss(event: TrueEvent, truth: Truth) -> bool:
    return any(start <= event.peak_unix < end for start, end in truth.losses)


def _same(event: TrueEvent, stored: StoredEcho) -> bool:
    echo = stored.echo
    return event.channel == echo.channel and echo.start_unix - SLACK_S < event.peak_unix < echo.end_unix + SLACK_S


def _time(pair: Pair) -> float:
    if pair.true is not None:
        return pair.true.start_unix
    return pair.found.echo.start_unix if pair.found else 0.0
