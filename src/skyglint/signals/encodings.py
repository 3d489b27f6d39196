"""The ways a sample is written in a file or on the wire, and turning samples into raw values.

Names are those of the SigMF specification (section "Dataset Format"). Two conventions are ours and hold everywhere:

- Offset-binary converters (``cu8``, ``cu16``) have their zero midway between the rails, so both rails are at full scale
  1; two's complement has its zero at 0 and the negative rail at -1 (the positive one a step short of +1).
- Real samples (``r...``) are the audio of a receiver in single-sideband mode. Only one half of their spectrum is true,
  and a real tone of amplitude A shows there as A / 2. Their ``full_scale`` is therefore *half* the rail: scaled samples
  run from -2 to +2, and a tone of full scale has power 1 in the half that counts, as in an I/Q recording.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.errors import RequestError
from skyglint.signals.block import Encoding


def _table() -> dict[str, Encoding]:
    kinds = {"u8": "u1", "i8": "i1"}
    for order, sign in (("le", "<"), ("be", ">")):
        kinds |= {f"u16_{order}": f"{sign}u2", f"i16_{order}": f"{sign}i2"}
        kinds |= {f"i32_{order}": f"{sign}i4", f"f32_{order}": f"{sign}f4"}
    table = {}
    for kind, code in kinds.items():
        dtype = np.dtype(code)
        if dtype.kind == "f":
            zero, rail = 0.0, 1.0
        elif dtype.kind == "u":
            zero = rail = (2 ** (8 * dtype.itemsize) - 1) / 2
        else:
            zero, rail = 0.0, 2.0 ** (8 * dtype.itemsize - 1)
        table["c" + kind] = Encoding("c" + kind, dtype, zero, rail, 2)
        table["r" + kind] = Encoding("r" + kind, dtype, zero, rail / 2, 1)
    return table


#: Every encoding that can be read and written, by its SigMF name.
ENCODINGS: dict[str, Encoding] = _table()

#: Encodings that a raw file's extension states; anything else must be named by the user.
EXTENSIONS: dict[str, str] = {
    ".cu8": "cu8",
    ".ci8": "ci8",
    ".cs8": "ci8",
    ".ci16": "ci16_le",
    ".cs16": "ci16_le",
    ".cu16": "cu16_le",
    ".cf32": "cf32_le",
    ".fc32": "cf32_le",
}


def encoding_named(name: str) -> Encoding:
    """Return the encoding of a SigMF name.

    Raises
    ------
    RequestError
        If there is none of that name.
    """
    try:
        return ENCODINGS[name]
    except KeyError as error:
        raise RequestError(f'encoding "{name}" is unknown: expected one of {", ".join(sorted(ENCODINGS))}') from error


def rails(encoding: Encoding) -> tuple[float, float]:
    """Return the lowest and the highest raw value of the converter; what reaches them is clipped.

    Floats have no rails of their own; theirs are the raw values of full scale. A converter may have fewer bits than the
    type that its values are stored in; then its full scale says so.
    """
    reach = encoding.full_scale * (2 if encoding.components == 1 else 1)
    low, high = encoding.zero - reach, encoding.zero + reach
    if encoding.dtype.kind == "f":
        return low, high
    if encoding.zero == round(encoding.zero):
        # With a zero of its own a converter is one step short of full scale on the positive side.
        high -= 1
    return low, high


def encode(samples: NDArray[Any], encoding: Encoding) -> NDArray[Any]:
    """Return the raw values of samples, rounded and clipped at the rails (floats are neither).

    Parameters
    ----------
    samples
        Complex, full scale 1, shape (n,). The inverse of ``Block.samples``; for real encodings the real part counts.

    Returns
    -------
    Raw values, shape (n * components,).
    """
    parts = np.ascontiguousarray(samples, dtype=np.complex64).view(np.float32)
    if encoding.components == 1:
        parts = parts[::2]
    # Rounding in float32 would lose the last bits of 32-bit integers.
    wide: type[np.floating[Any]] = np.float64 if encoding.dtype.itemsize > 2 else np.float32
    raw: NDArray[Any] = parts.astype(wide)
    raw *= encoding.full_scale
    raw += encoding.zero
    if encoding.dtype.kind != "f":
        np.rint(raw, out=raw)
        np.clip(raw, *rails(encoding), out=raw)
    return raw.astype(encoding.dtype)
