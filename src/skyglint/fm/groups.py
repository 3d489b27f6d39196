"""RDS groups out of aligned bits, and the station name (PS) where the burst held all of it.

IEC 62106 / EN 50067 sect. 3.1: block B starts with the group type (4 bits) and version (1 bit); groups 0A and 0B carry
two characters of the eight-character name in block D, at the place that the last two bits of block B say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from skyglint.fm.alignment import Alignments
from skyglint.fm.blocks import BLOCK_BITS, BlockName, block_is_whole, word_of

_NAME_SEGMENTS = 4


@dataclass(frozen=True, slots=True)
class Group:
    """Information of the blocks of one group that arrived without error; ``None`` for the rest.

    ``c`` is block C or, in version B, C'.
    """

    a: int | None
    b: int | None
    c: int | None
    d: int | None

    @property
    def whole_blocks(self) -> int:
        """Number of blocks without error."""
        return sum(block is not None for block in (self.a, self.b, self.c, self.d))


def read_groups(bits: Alignments, alignment: int) -> list[Group]:
    """Return the groups of a burst at an alignment, first to last, without correcting any error."""
    signs = np.sign(bits.ratios)
    first = alignment - 4 * BLOCK_BITS
    return [
        Group(
            a=_information(signs, start, "A"),
            b=_information(signs, start + BLOCK_BITS, "B"),
            c=_first_whole(signs, start + 2 * BLOCK_BITS),
            d=_information(signs, start + 3 * BLOCK_BITS, "D"),
        )
        for start in range(first, len(signs), 4 * BLOCK_BITS)
    ]


def station_name(groups: list[Group]) -> str:
    """Return the eight-character name, or nothing unless all four parts arrived and repeats agree.

    Stations that scroll their name send other parts under the same number: where two disagree there is no name.
    """
    parts: dict[int, int] = {}
    for group in groups:
        if group.b is None or group.d is None or group.b >> 12 != 0:
            continue
        if parts.setdefault(group.b & 3, group.d) != group.d:
            return ""
    if len(parts) < _NAME_SEGMENTS:
        return ""
    codes = [code for segment in range(_NAME_SEGMENTS) for code in divmod(parts[segment], 256)]
    return "".join(_character(code) for code in codes)


def _character(code: int) -> str:
    # The RDS basic table agrees with ASCII here but for a few signs; letters beyond it are shown as a stand-in.
    return chr(code) if 0x20 <= code <= 0x7D else "\N{MIDDLE DOT}"


def _first_whole(signs: np.ndarray, start: int) -> int | None:
    plain = _information(signs, start, "C")
    return plain if plain is not None else _information(signs, start, "C'")


def _information(signs: np.ndarray, start: int, name: BlockName) -> int | None:
    """Return the information of the block coded against symbol ``start``, if it arrived whole."""
    symbols = signs[max(start, 0) : start + BLOCK_BITS + 1]
    if len(symbols) <= BLOCK_BITS or not symbols.all():
        return None
    bits = word_of(symbols[1:] != symbols[:-1])
    return bits >> 10 if block_is_whole(bits, name) else None
