"""Radio Data System, the sending side: groups, checkwords, differential bits and the biphase waveform.

After IEC 62106 (EN 50067). Information bits are numbered as they are sent, most significant first.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

#: Bits per second: 57 kHz / 48 (IEC 62106, "Clock frequency and data rate").
BIT_RATE_HZ = 1187.5
SUBCARRIER_HZ = 57_000.0
GROUP_BITS = 104

#: g(x) = x^10 + x^8 + x^7 + x^5 + x^4 + x^3 + 1 (EN 50067 sec. 2.3).
_GENERATOR = 0b101_1011_1001
#: Offset words A, B, C, D (EN 50067 table 1).
_OFFSETS = (0x0FC, 0x198, 0x168, 0x1B4)

_UNIX_EPOCH_MJD = 40587
_FILLER_FREQUENCY = 0xCD
_PTY_SHIFT = 5
_WAVEFORM_BITS = 4  # the shaped pair has fallen below 0.2 % of its peak this many bits away
_WAVEFORM_STEPS = 512


@lru_cache(maxsize=4096)
def checkword(information: int, block: int) -> int:
    """Return the ten check bits of a block: the remainder by g(x), plus the offset word of block 0 to 3 (A to D)."""
    remainder = information << 10
    for bit in range(25, 9, -1):
        if remainder >> bit & 1:
            remainder ^= _GENERATOR << (bit - 10)
    return remainder ^ _OFFSETS[block]


def group_bits(group: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    """Return the 104 bits of a group of four information words."""
    word = 0
    for block, information in enumerate(group):
        word = word << 26 | information << 10 | checkword(information, block)
    return np.unpackbits(np.frombuffer(word.to_bytes(13, "big"), dtype=np.uint8))


def name_group(pi: int, segment: int, name: str, programme_type: int = 0) -> tuple[int, int, int, int]:
    """Return group 0A: two characters of the programme service name, at ``segment`` 0 to 3; music, no traffic."""
    text = f"{name:<8.8}"[2 * segment : 2 * segment + 2]
    second = programme_type << _PTY_SHIFT | 1 << 3 | segment
    return pi, second, 0xE000 | _FILLER_FREQUENCY, _characters(text)


def text_group(pi: int, segment: int, text: str, programme_type: int = 0) -> tuple[int, int, int, int]:
    """Return group 2A: four characters of RadioText at ``segment`` 0 to 15; a shorter text ends with 0D."""
    padded = f"{text[:64]}\r" if len(text) < 64 else text[:64]
    part = f"{padded[4 * segment : 4 * segment + 4]:<4}"
    return pi, 2 << 12 | programme_type << _PTY_SHIFT | segment, _characters(part[:2]), _characters(part[2:])


def clock_group(pi: int, unix: float, offset_half_hours: int = 0, programme_type: int = 0) -> tuple[int, int, int, int]:
    """Return group 4A: the Modified Julian Date, hour and minute (UTC) and the local offset."""
    days, seconds = divmod(int(unix), 86_400)
    day = days + _UNIX_EPOCH_MJD
    hour, minute = seconds // 3600, seconds % 3600 // 60
    sign = 1 if offset_half_hours < 0 else 0
    second = 4 << 12 | programme_type << _PTY_SHIFT | day >> 15
    third = (day & 0x7FFF) << 1 | hour >> 4
    return pi, second, third, (hour & 15) << 12 | minute << 6 | sign << 5 | abs(offset_half_hours)


def programme_bits(pi: int, name: str, text: str, start_unix: float, n_groups: int) -> NDArray[np.uint8]:
    """Return the data bits of ``n_groups`` groups from ``start_unix`` on: names, text, and a clock each minute."""
    n_texts = min(len(text) // 4 + 1, 16)
    parts = []
    minute = int(start_unix // 60)
    for index in range(n_groups):
        now = start_unix + index * GROUP_BITS / BIT_RATE_HZ
        if int(now // 60) > minute:
            minute = int(now // 60)
            group = clock_group(pi, now)
        elif index % 2 == 0 or not text:
            group = name_group(pi, index // (2 if text else 1) % 4, name)
        else:
            group = text_group(pi, index // 2 % n_texts, text)
        parts.append(group_bits(group))
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.uint8)


def differential(bits: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the bits as sent: each is the data bit XOR the bit sent before it (EN 50067 sec. 1.6)."""
    return np.bitwise_xor.accumulate(bits)


def biphase_table() -> NDArray[np.float32]:
    """Return one bit's waveform, shape (steps, bits): row ``p`` is ``p`` steps into each bit of its neighbourhood.

    An impulse at the bit's start and a negative one half a bit later, each through H(f) = cos(pi f td / 4) up to 2/td
    (EN 50067 sec. 1.7), scaled so that the strongest sum over any data is 1. Column ``j`` belongs to the bit
    ``_WAVEFORM_BITS - j`` bits before the current one.
    """
    bits_ago = np.arange(_WAVEFORM_BITS, -_WAVEFORM_BITS - 1, -1)[None, :]
    phase = (np.arange(_WAVEFORM_STEPS)[:, None] + 0.5) / _WAVEFORM_STEPS
    since = bits_ago + phase - 0.25  # bits after the middle of the pair
    table = _shaped_impulse(since + 0.25) - _shaped_impulse(since - 0.25)
    peak = np.abs(table).sum(axis=1).max()
    return np.asarray(table / peak, dtype=np.float32)


def _shaped_impulse(bits: NDArray[np.float64]) -> NDArray[np.float64]:
    # The inverse transform of the cosine shape: with a = pi/4 and u = 2 pi t/td, 2a cos(2u) / (a^2 - u^2).
    corner, angle = np.pi / 4, 2 * np.pi * bits
    near = np.abs(np.abs(angle) - corner) < 1e-6
    safe = np.where(near, 0.0, angle)
    value = 2 * corner * np.cos(2 * safe) / (corner**2 - safe**2)
    return np.asarray(np.where(near, 2.0, value))  # the limit at u = +-a


def waveform(sent: NDArray[np.uint8], bit: NDArray[np.float64], table: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the shaped biphase signal, peak 1, at the times ``bit`` (in bits since the first of ``sent``).

    Times must leave ``_WAVEFORM_BITS`` bits on either side.
    """
    index = np.floor(bit).astype(np.intp)
    step = ((bit - index) * _WAVEFORM_STEPS).astype(np.intp)
    first, last = int(index[0]), int(index[-1])
    polar = sent[first - _WAVEFORM_BITS : last + _WAVEFORM_BITS + 1].astype(np.float32) * 2 - 1
    # Every bit's whole waveform first, then a pick: a run of samples shares its bits.
    windows = np.lib.stride_tricks.sliding_window_view(polar, 2 * _WAVEFORM_BITS + 1)
    whole = windows @ table.T
    return np.asarray(whole[index - first, step], dtype=np.float32)


def _characters(pair: str) -> int:
    return ord(pair[0]) << 8 & 0xFF00 | ord(pair[1]) & 0xFF
