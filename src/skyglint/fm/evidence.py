"""How much soft bits speak for a block, as exact likelihood ratios against random bits.

A block with its differential coding is 27 sent symbols: a linear code of 2^17 words (16 bits of information and the
common sign), shifted by the offset word. The sum of the likelihoods over all its words needs only the 2^10 words of
its dual (Hartmann & Rudolph, IEEE Trans. Inf. Theory 22, 514, 1976). Under random signs the expectation of every
ratio here is exactly 1, whatever the sizes of the soft bits: so by Markov's inequality a ratio above 1/p happens on
noise with a probability below p.

A soft bit of 0 is a bit that was not received; blocks that reach over the burst's end count with what they have.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from skyglint.fm.blocks import (
    BLOCK_BITS,
    GROUP_BITS,
    OFFSET_WORDS,
    BlockName,
    bits_of,
    encode_block,
    remainder,
    sent_signs,
)

#: Symbols of a block: its bits, and the one before that the first is coded against.
BLOCK_SYMBOLS = BLOCK_BITS + 1
_LEAST = 1e-4
#: Places worked on at a time, for the sake of memory.
_AT_ONCE = 512
_JOINING_ROUNDS = 4


def block_evidence(ratios: NDArray[np.float64]) -> dict[BlockName, NDArray[np.float64]]:
    """Return, for each kind of block, ln P(symbols | a block starts here) / P(symbols | random).

    Parameters
    ----------
    ratios
        Soft bits, shape (n,).

    Returns
    -------
    dict
        For each block name shape (n - 26,): entry ``i`` is for a block whose first bit is symbol ``i + 1`` coded
        against symbol ``i``.
    """
    return _code_evidence(np.lib.stride_tricks.sliding_window_view(ratios, BLOCK_SYMBOLS))


def repeated_block_evidence(ratios: NDArray[np.float64]) -> dict[BlockName, NDArray[np.float64]]:
    """Return the same for a block that every group repeats alike, shape (104,) each.

    Entry ``i`` is for the places ``i``, ``i + 104``, ... together. Each repeat may be inverted: of the ways to join
    them only the best fitting one counts (with its prior), which is a little less than the whole evidence.
    """
    n_repeats = -(-(len(ratios) - BLOCK_BITS) // GROUP_BITS)
    padded = np.pad(ratios, (0, n_repeats * GROUP_BITS + BLOCK_BITS - len(ratios)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, BLOCK_SYMBOLS).reshape(
        n_repeats, GROUP_BITS, BLOCK_SYMBOLS
    )
    strongest = np.argmax(np.abs(windows).sum(axis=2), axis=0)
    together = windows[strongest, np.arange(GROUP_BITS)]
    for _ in range(_JOINING_ROUNDS):
        inverted = np.where(np.einsum("ijk,jk->ij", windows, together) < 0, -1.0, 1.0)
        together = np.einsum("ij,ijk->jk", inverted, windows)
    alike = log_cosh(together / 2).sum(axis=1) - log_cosh(windows / 2).sum(axis=(0, 2))
    prior = (np.count_nonzero(np.any(windows != 0, axis=2), axis=0) - 1) * np.log(2)
    return {name: evidence + alike - prior for name, evidence in _code_evidence(together).items()}


def _code_evidence(windows: NDArray[np.float64]) -> dict[BlockName, NDArray[np.float64]]:
    """Return the sum over the dual words for each offset word, ln; ``windows`` of shape (n, 27)."""
    duals, signs = _dual_words()
    parts = [
        _dual_products(windows[start : start + _AT_ONCE].astype(np.float32), duals) @ signs
        for start in range(0, len(windows), _AT_ONCE)
    ]
    logarithms = np.log(np.maximum(np.concatenate(parts), _LEAST).astype(np.float64))
    return {name: logarithms[:, column] for column, name in enumerate(OFFSET_WORDS)}


def _dual_products(windows: NDArray[np.float32], duals: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the product of tanh(ratio / 2) over the symbols of each dual word, shape (n, 1024)."""
    size = np.log(np.maximum(np.abs(np.tanh(windows / 2)), np.float32(1e-12))) @ duals
    odd = (windows < 0).astype(np.float32) @ duals % 2
    products: NDArray[np.float32] = np.exp(size) * (1 - 2 * odd)
    return products


def word_evidence(ratios: NDArray[np.float64], information: int, name: BlockName) -> NDArray[np.float64]:
    """Return the same for a block of known information, shape (n - 26,)."""
    windows = np.lib.stride_tricks.sliding_window_view(ratios, BLOCK_SYMBOLS)
    expected = sent_signs(bits_of(encode_block(information, name)))
    together = log_cosh(windows @ expected.astype(np.float64) / 2)
    evidence: NDArray[np.float64] = together - log_cosh(windows / 2).sum(axis=1)
    return evidence


def all_words_evidence(ratios: NDArray[np.float64], name: BlockName) -> NDArray[np.float64]:
    """Return the same for all 65,536 informations of a block at one place; ``ratios`` of shape (27,)."""
    upper, lower = _half_words()
    first = upper * sent_signs(bits_of(OFFSET_WORDS[name]))
    agreement = (first * ratios.astype(np.float32)) @ lower.T
    # Single precision: four times faster, and good to 1e-5.
    size = np.abs(agreement.ravel())
    logarithms: NDArray[np.float64] = (size / 2 + np.log1p(np.exp(-size))).astype(np.float64)
    logarithms -= np.log(2) + log_cosh(ratios / 2).sum()
    return logarithms


def most_evidence(ratios: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the most that each soft bit can add to any evidence: it is as expected. Same shape."""
    most: NDArray[np.float64] = np.log(2) - np.log1p(np.exp(-np.abs(ratios)))
    return most


def log_cosh(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return ln cosh without overflow."""
    size = np.abs(values)
    result: NDArray[np.float64] = size + np.log1p(np.exp(-2 * size)) - np.log(2)
    return result


@cache
def _dual_words() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the dual code, shape (27, 1024), and each dual word's sign for each offset word, shape (1024, 5)."""
    checks = np.array([remainder(1 << shift) for shift in range(BLOCK_BITS - 1, -1, -1)])
    combinations = np.arange(1 << 10)
    on_bits = np.bitwise_count(checks[:, None] & combinations) & 1
    padded = np.vstack([np.zeros((1, 1 << 10), on_bits.dtype), on_bits, np.zeros((1, 1 << 10), on_bits.dtype)])
    on_symbols = padded[:-1] ^ padded[1:]
    offsets = np.array(list(OFFSET_WORDS.values()))
    signs = 1.0 - 2.0 * (np.bitwise_count(combinations[:, None] & offsets) & 1)
    return on_symbols.astype(np.float32), signs.astype(np.float32)


@cache
def _half_words() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the sent signs of the 256 upper and lower halves of the information, each shape (256, 27).

    The code is linear: the signs of a word are the product of those of its halves and of the offset word.
    """
    upper = [bits_of((half << 18) | remainder(half << 18)) for half in range(256)]
    lower = [bits_of((half << 10) | remainder(half << 10)) for half in range(256)]
    return sent_signs(np.array(upper)), sent_signs(np.array(lower))
