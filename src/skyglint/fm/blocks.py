"""RDS blocks: 16 bits of information, a 10-bit checkword, and the offset word that says which block it is.

IEC 62106 / EN 50067 sect. 2.3: ``checkword = (information x 2^10) mod g, XOR offset word``, with
``g(x) = x^10 + x^8 + x^7 + x^5 + x^4 + x^3 + 1``. Bits are in the order in which they are sent.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

BlockName = Literal["A", "B", "C", "C'", "D"]

GENERATOR = 0x5B9
OFFSET_WORDS: dict[BlockName, int] = {"A": 0x0FC, "B": 0x198, "C": 0x168, "C'": 0x350, "D": 0x1B4}
BLOCK_BITS = 26
GROUP_BITS = 4 * BLOCK_BITS
#: Bits from the start of a group to the start of each block.
POSITIONS: dict[BlockName, int] = {"A": 0, "B": 26, "C": 52, "C'": 52, "D": 78}
BIT_RATE_HZ = 1187.5


def remainder(bits: int) -> int:
    """Return a 26-bit word modulo the generator polynomial."""
    for shift in range(BLOCK_BITS - 1, 9, -1):
        if bits >> shift & 1:
            bits ^= GENERATOR << (shift - 10)
    return bits


def encode_block(information: int, name: BlockName) -> int:
    """Return the 26 bits of a block."""
    return information << 10 | remainder(information << 10) ^ OFFSET_WORDS[name]


def block_is_whole(bits: int, name: BlockName) -> bool:
    """Tell whether 26 received bits are a block of that name without error."""
    return remainder(bits) == OFFSET_WORDS[name]


def bits_of(word: int, length: int = BLOCK_BITS) -> NDArray[np.int8]:
    """Return the bits of a word, most significant first."""
    return np.array([word >> shift & 1 for shift in range(length - 1, -1, -1)], np.int8)


def word_of(bits: NDArray[np.integer]) -> int:
    """Return the word of some bits, most significant first."""
    return int("".join("1" if bit else "0" for bit in bits), 2)


def sent_signs(bits: NDArray[np.integer]) -> NDArray[np.float32]:
    """Return the signs (+1 or -1) in which differentially coded bits are sent, after a +1.

    Shape (..., n) to (..., n + 1). EN 50067 sect. 1.6: a 1 changes the sign, a 0 keeps it; the whole may be inverted.
    """
    first = np.zeros((*bits.shape[:-1], 1), np.int64)
    changes = np.concatenate([first, np.cumsum(bits, axis=-1)], axis=-1)
    return (1 - 2 * (changes & 1)).astype(np.float32)
