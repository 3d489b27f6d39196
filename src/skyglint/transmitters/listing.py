"""What reading a list gives: transmitters, the rows that were bad and why, and what was set aside."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from skyglint.transmitters.transmitter import Transmitter


@dataclass(frozen=True, slots=True)
class Rejection:
    """A row that could not be read, with its place in the file and the reason."""

    source: str
    line: int
    reason: str

    def __str__(self) -> str:
        return f"{self.source}: line {self.line}: {self.reason}"


@dataclass(slots=True)
class Listing:
    """The outcome of reading one list; readers fill it row by row.

    Attributes
    ----------
    transmitters
        What was read.
    rejections
        Bad rows.
    set_aside
        How many good rows are no transmitters, by reason.
    """

    source: str
    transmitters: list[Transmitter] = field(default_factory=list)
    rejections: list[Rejection] = field(default_factory=list)
    set_aside: Counter[str] = field(default_factory=Counter)

    def reject(self, line: int, reason: str) -> None:
        """Note a row that cannot be used."""
        self.rejections.append(Rejection(self.source, line, reason))


class BadRow(Exception):
    """Says why a row cannot be used; readers turn it into a rejection."""


class NotTransmitter(Exception):
    """Says what a good row is, if it is no transmitter; readers count it."""
