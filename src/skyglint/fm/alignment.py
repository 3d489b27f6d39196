"""Where groups start in a run of soft bits: the evidence for each of the 104 alignments.

Block A is the same in every group. B, C and D may be new each time or, at many stations, hardly ever change: both are
taken as equally likely, and so is for C whether an unchanging one is C or C'. Without the second, a block that repeats
could pass for a block A with errors.
"""

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
    repeated_block_evidence,
    word_evidence,
)

#: Share of groups of version B, which repeat the PI in block C'. Common practice: few stations send any.
VERSION_B_SHARE = 0.05
_WORDS = 1 << 16
_OTHER_BLOCKS: tuple[BlockName, ...] = ("B", "C", "D")


@dataclass(frozen=True, slots=True)
class Alignments:
    """Evidence of one run of soft bits for every alignment of the groups.

    Attributes
    ----------
    ratios
        Soft bits with a block's length of zeros (not received) at each end, shape (n,).
    blocks
        ln evidence that a block of each kind starts at each place, shape (n - 26,) each.
    repeated
        ln evidence that a block of each kind, alike in all groups, starts at a place modulo 104, shape (104,) each.
    """

    ratios: NDArray[np.float64]
    blocks: dict[BlockName, NDArray[np.float64]]
    repeated: dict[BlockName, NDArray[np.float64]]

    def unknown_code(self) -> NDArray[np.float64]:
        """Return the ln evidence of each alignment for some code, shape (104,)."""
        return self._others() + np.roll(self.repeated["A"], -POSITIONS["A"])

    def known_code(self, code: int) -> NDArray[np.float64]:
        """Return the ln evidence of each alignment for one PI code, shape (104,)."""
        return self._others(code) + _by_alignment(word_evidence(self.ratios, code, "A"), "A")

    def most_for_a_code(self) -> NDArray[np.float64]:
        """Return the most, ln, that each alignment could say for any code, from the sizes of the bits, shape (104,)."""
        windows = np.lib.stride_tricks.sliding_window_view(most_evidence(self.ratios), BLOCK_SYMBOLS)
        return self._others() + _by_alignment(windows.sum(axis=1), "A")

    def every_code(self, alignment: int) -> NDArray[np.float64]:
        """Return the ln evidence of one alignment for each of the 65,536 codes, shape (65536,)."""
        in_c = np.zeros(_WORDS)
        for place in self._places(alignment, "C"):
            plain, repeat = self.blocks["C"][place], self.blocks["C'"][place]
            # Only a block that looks like C' can tell codes apart.
            if repeat > plain + 1.0:
                in_c += _version_mixture(plain, all_words_evidence(self._block(place), "C'"))
            else:
                in_c += _version_mixture(plain, repeat)
        same_c = _either(self._every_word(alignment, "C'"), self._same_word(alignment, "C"))
        total = self._every_word(alignment, "A") + _either(in_c, same_c)
        for name in ("B", "D"):
            anew = self.blocks[name][self._places(alignment, name)].sum()
            total += _either(anew, self._same_word(alignment, name))
        return total

    def _others(self, code: int | None = None) -> NDArray[np.float64]:
        """Return the ln evidence of the blocks B, C and D of each alignment, shape (104,)."""
        if code is None:
            repeat, all_repeat = self.blocks["C'"], self.repeated["C'"]
        else:
            repeat = word_evidence(self.ratios, code, "C'")
            all_repeat = np.roll(_by_alignment(repeat, "C'"), POSITIONS["C'"])
        anew = {**self.blocks, "C": _version_mixture(self.blocks["C"], repeat)}
        alike = {**self.repeated, "C": _either(self.repeated["C"], all_repeat)}
        total = np.zeros(GROUP_BITS)
        for name in _OTHER_BLOCKS:
            total += _either(_by_alignment(anew[name], name), np.roll(alike[name], -POSITIONS[name]))
        return total

    def _every_word(self, alignment: int, name: BlockName) -> NDArray[np.float64]:
        """Return the ln evidence that all blocks of a kind carry the same word, for each word, shape (65536,)."""
        total = np.zeros(_WORDS)
        for place in self._places(alignment, name):
            total += all_words_evidence(self._block(place), name)
        return total

    def _same_word(self, alignment: int, name: BlockName) -> float:
        """Return the ln evidence that all blocks of a kind carry the same word, whichever."""
        words = self._every_word(alignment, name)
        top = float(words.max())
        return top + float(np.log(np.mean(np.exp(words - top))))

    def _places(self, alignment: int, name: BlockName) -> NDArray[np.int64]:
        """Return where the blocks of a kind start, as indices into ``blocks``."""
        first = (alignment + POSITIONS[name]) % GROUP_BITS
        return np.arange(first, len(self.ratios) - BLOCK_BITS, GROUP_BITS)

    def _block(self, place: int) -> NDArray[np.float64]:
        return self.ratios[place : place + BLOCK_SYMBOLS]


def align(ratios: NDArray[np.float64]) -> Alignments:
    """Weigh every alignment of a run of soft bits, shape (n,)."""
    padded = np.pad(ratios, BLOCK_BITS)
    return Alignments(padded, block_evidence(padded), repeated_block_evidence(padded))


def _by_alignment(evidence: NDArray[np.float64], name: BlockName) -> NDArray[np.float64]:
    """Sum the evidence of all blocks of a kind for each alignment, shape (n,) to (104,)."""
    rows = -(-len(evidence) // GROUP_BITS)
    padded = np.pad(evidence, (0, rows * GROUP_BITS - len(evidence)))
    sums: NDArray[np.float64] = np.roll(padded.reshape(rows, GROUP_BITS).sum(axis=0), -POSITIONS[name])
    return sums


def _either(one: NDArray[np.float64], other: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Return ln of the mean of two likelihoods."""
    mean: NDArray[np.float64] = np.logaddexp(one, other) - np.log(2)
    return mean


def _version_mixture(plain: NDArray[np.float64] | float, repeat: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Return ln of the mean likelihood over groups of version A (block C) and version B (block C')."""
    mixture: NDArray[np.float64] = np.logaddexp(np.log1p(-VERSION_B_SHARE) + plain, np.log(VERSION_B_SHARE) + repeat)
    return mixture
