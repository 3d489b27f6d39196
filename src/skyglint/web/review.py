"""The operator's review: which echoes are doubtful, and how often operator and machine agree."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from skyglint.echoes.echo import CLASSES, EchoClass
from skyglint.store import StoredEcho
from skyglint.web.archive import NothingYet
from skyglint.web.context import Context

#: How far back the review reaches from the newest echo on record.
REACH_S = 14 * 86_400.0
#: A class that is less probable is doubtful.
CERTAIN = 0.8
FRESH_S = 30.0

#: The key for each class, shown beside its word.
KEYS: dict[EchoClass, str] = {
    "underdense": "u",
    "overdense": "o",
    "head": "h",
    "aircraft": "a",
    "satellite": "s",
    "sporadic-e": "e",
    "ducting": "d",
    "lightning": "l",
    "interference": "i",
    "unknown": "n",
}
assert set(KEYS) == set(CLASSES)


@dataclass(frozen=True, slots=True)
class Review:
    """How the review stands.

    Attributes
    ----------
    doubtful
        Numbers of the echoes that wait, oldest first.
    judged, agreed
        Echoes with a verdict of the operator, and those among them where it is the machine's class too.
    differences
        How often the machine's class became another by the operator's verdict, the most frequent first.
    latest
        Numbers of the echoes judged last, newest first.
    """

    doubtful: tuple[int, ...]
    judged: int
    agreed: int
    differences: tuple[tuple[str, str, int], ...]
    latest: tuple[StoredEcho, ...]


def is_doubtful(entry: StoredEcho) -> bool:
    """Tell whether an echo waits for the operator: without a verdict, and of an unknown or improbable class."""
    probability = entry.echo.class_probability
    uncertain = math.isnan(probability) or probability < CERTAIN
    return entry.verdict is None and (entry.echo.echo_class == "unknown" or uncertain)


def gather_review(context: Context) -> Review:
    """Return how the review stands."""
    return context.cache.get("review", FRESH_S, lambda: _gather(context))


def _gather(context: Context) -> Review:
    targets = {channel.name for channel in context.site.channel if channel.role == "target"}
    try:
        with context.archive.reading() as store:
            span = store.span()
            echoes = store.echoes(span[1] - REACH_S) if span else []
    except NothingYet:
        echoes = []
    judged = [entry for entry in echoes if entry.verdict is not None]
    changes = Counter(
        (entry.echo.echo_class, entry.echo_class) for entry in judged if entry.echo.echo_class != entry.echo_class
    )
    return Review(
        doubtful=tuple(entry.id for entry in echoes if entry.echo.channel in targets and is_doubtful(entry)),
        judged=len(judged),
        agreed=len(judged) - sum(changes.values()),
        differences=tuple((machine, operator, count) for (machine, operator), count in changes.most_common()),
        latest=tuple(sorted(judged, key=_judged_unix, reverse=True)[:8]),
    )


def _judged_unix(entry: StoredEcho) -> float:
    return entry.verdict.created_unix if entry.verdict else 0.0
