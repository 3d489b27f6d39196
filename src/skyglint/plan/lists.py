"""Several lists as one: read, joined, duplicates merged, with a sentence on each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.plan.demo import demo_listing
from skyglint.transmitters.files import read_list
from skyglint.transmitters.listing import Listing, Rejection
from skyglint.transmitters.merging import merge
from skyglint.transmitters.transmitter import Transmitter


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the lists gave together.

    Attributes
    ----------
    transmitters
        Duplicates merged.
    listings
        Each list's own outcome.
    merged
        How many rows the merging took away.
    """

    transmitters: list[Transmitter]
    listings: tuple[Listing, ...]
    merged: int

    @property
    def rejections(self) -> list[Rejection]:
        """All bad rows."""
        return [rejection for listing in self.listings for rejection in listing.rejections]


def gather(paths: Sequence[Path], *, demo: bool = False) -> Gathered:
    """Read lists and merge what they hold.

    Raises
    ------
    RequestError
        If there is no list, or one of them cannot be read.
    """
    listings = [read_list(path) for path in paths] + ([demo_listing()] if demo else [])
    if not listings:
        raise RequestError("no transmitters: give a list with --transmitters, or --demo for the invented one")
    transmitters, merged = merge(one for listing in listings for one in listing.transmitters)
    return Gathered(transmitters, tuple(listings), merged)


def list_words(gathered: Gathered) -> tuple[str, ...]:
    """Return one sentence for each list, and one on duplicates where there were any."""
    sentences = []
    for listing in gathered.listings:
        dated = next((one.dated for one in listing.transmitters if one.dated), "")
        parts = [f"{len(listing.transmitters)} transmitters"]
        if listing.rejections:
            parts.append(f"{len(listing.rejections)} bad rows left out")
        parts += [f"{count} set aside ({reason})" for reason, count in sorted(listing.set_aside.items())]
        sentences.append(f"{listing.source}{f' of {dated}' if dated else ''}: {', '.join(parts)}.")
    waiting = sum(1 for one in gathered.transmitters if one.status != "licensed")
    if gathered.merged or waiting:
        sentences.append(f"{gathered.merged} duplicate rows merged; {waiting} planned or auxiliary do not count.")
    return tuple(sentences)
