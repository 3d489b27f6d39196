"""Where groups start in a run of soft bits: the evidence for each of the 104 alignments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.fm.blocks import BLOCK_BITS, GROUP_BITS, POSITIONS, BlockName
from skyglint.fm.evidence import (
    BLOCK_SYMBOLS,
    all_words_evidence,
    block_evidence,
    most_evidence,
    word_evidence,
)

#: Share of groups of version B, which repeat the PI in block C'. Common practice: few stations send any.
VERSION_B_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Alignments:
    """Evidence of one run of soft bits for every alignment of the groups.

    Attributes
    ----------
    ratios
        Soft bits with a block's length of zeros (not received) at each end, shape (n,).
    blocks
        ln evidence that a block of each kind starts at each place, shape (n - 26,) each.
    others
        For each alignment, ln evidence of the blocks B, C and D, shape (104,).
    """

    ratios: NDArray[np.float64]
    blocks: dict[BlockName, NDArray[np.float64]]
    others: NDArray[np.float64]

    def places(self, alignment: int, name: BlockName) -> NDArray[np.int64]:
        """Return where the blocks of a kind start, as indices into ``blocks``."""
        first = (alignment + POSITIONS[name]) % GROUP_BITS
        return np.arange(first, len(self.ratios) - BLOCK_BITS, GROUP_BITS)

    def unknown_code(self) -> NDArray[np.float64]:
        """Return the ln evidence of each alignment when each block A may carry anything, shape (104,)."""
        return self.others + _by_alignment(self.blocks["A"], "A")

    def known_code(self, code: int) -> NDArray[np.float64]:
        """Return the ln evidence of each alignment for one PI code, shape (104,)."""
        in_a = _by_alignment(word_evidence(self.ratios, code, "A"), "A")
        repeated = word_evidence(self.ratios, code, "C'")
        gain = _version_mixture(self.blocks["C"], repeated) - _version_mixture(self.blocks["C"], self.blocks["C'"])
        return self.others + in_a + _by_alignment(gain, "C")

    def most_for_a_code(self) -> NDArray[np.float64]:
        """Return the most, ln, that each alignment could say for any code, from the sizes of the bits, shape (104,)."""
        windows = np.lib.stride_tricks.sliding_window_view(most_evidence(self.ratios), BLOCK_SYMBOLS)
        return self.others + _by_alignment(windows.sum(axis=1), "A")

    def every_code(self, alignment: int) -> NDArray[np.float64]:
        """Return the ln evidence of one alignment for each of the 65,536 codes, shape (65536,)."""
        total = np.full(1 << 16, self.others[alignment])
        for place in self.places(alignment, "A"):
            total += all_words_evidence(self.ratios[place : place + BLOCK_SYMBOLS], "A")
        for place in self.places(alignment, "C"):
            plain, repeat = self.blocks["C"][place], self.blocks["C'"][place]
            before = _version_mixture(plain, repeat)
            # Only a block that looks like C' can tell codes apart.
            if before > plain + 1.0:
                codes = all_words_evidence(self.ratios[place : place + BLOCK_SYMBOLS], "C'")
                total += _version_mixture(plain, codes) - before
        return total


def align(ratios: NDArray[np.float64]) -> Alignments:
    """Weigh every alignment of a run of soft bits, shape (n,)."""
    padded = np.pad(ratios, BLOCK_BITS)
    blocks = block_evidence(padded)
    others = (
        _by_alignment(blocks["B"], "B")
        + _by_alignment(_version_mixture(blocks["C"], blocks["C'"]), "C")
        + _by_alignment(blocks["D"], "D")
    )
    return Alignments(padded, blocks, others)


def _by_alignment(evidence: NDArray[np.float64], name: BlockName) -> NDArray[np.float64]:
    """Sum the evidence of all blocks of a kind for each alignment, shape (n,) to (104,)."""
    rows = -(-len(evidence) // GROUP_BITS)
    padded = np.pad(evidence, (0, rows * GROUP_BITS - len(evidence)))
    sums: NDArray[np.float64] = np.roll(padded.reshape(rows, GROUP_BITS).sum(axis=0), -POSITIONS[name])
    return sums


def _version_mixture(plain: NDArray[np.float64] | float, repeat: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Return ln of the mean likelihood over groups of version A (block C) and version B (block C')."""
    mixture: NDArray[np.float64] = np.logaddexp(np.log1p(-VERSION_B_SHARE) + plain, np.log(VERSION_B_SHARE) + repeat)
    return mixture
