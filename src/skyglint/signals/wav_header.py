"""The header of a WAV file: RIFF, and its 64-bit forms RF64, BW64 and W64.

Sources: Microsoft and IBM, "Multimedia Programming Interface and Data Specifications 1.0" (1991), for RIFF and the
8-bit midpoint of 128; EBU Tech 3306 for RF64 and ITU-R BS.2088 for BW64 (``ds64`` chunk); EBU Tech 3285 for ``bext``;
Sony's W64 layout (16-byte GUIDs, 64-bit sizes that include the chunk's own header, chunks on 8-byte boundaries) as
libsndfile reads and writes it.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass

from skyglint.errors import SourceError

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_W64_RIFF = bytes.fromhex("726966662e91cf11a5d628db04c10000")
_W64_TAIL = bytes.fromhex("f3acd3118cd100c04f8edb8a")
_UINT32_MAX = 0xFFFFFFFF
#: Sizes that programs write before they know the true one, or when they cannot know it (common practice).
_PLACEHOLDERS = frozenset({0, 0x7FFFF000, 0x7FFFFFFF, 0x80000000})
_MIN_PLACEHOLDER = 0xFFFFF000
#: A chunk before the samples is read whole only if it is one that we know, and those are small.
_MAX_CHUNK = 1 << 16

#: Format tag and bits of a sample's container, to its name without the letter for I/Q or real.
FORMS: dict[tuple[int, int], str] = {
    (_PCM, 8): "u8",
    (_PCM, 16): "i16_le",
    (_PCM, 24): "i24_le",
    (_PCM, 32): "i32_le",
    (_FLOAT, 32): "f32_le",
}

Read = Callable[[int], bytes]


@dataclass(frozen=True, slots=True)
class WavHeader:
    """What stands before the samples.

    Attributes
    ----------
    channels, sample_rate_hz, form
        How they are written; ``form`` is one of the values of ``FORMS``.
    data_offset
        Where the samples begin.
    data_bytes
        How many bytes they should take; ``None`` where the header does not know.
    file_bytes
        How long the file should be, as the header has it.
    origination
        Date and time in the ``bext`` chunk, as written; empty without one. The standard names no time zone.
    """

    channels: int
    sample_rate_hz: float
    form: str
    data_offset: int
    data_bytes: int | None
    file_bytes: int
    origination: str


def is_wav(start: bytes) -> bool:
    """Tell whether a file that starts like this is a WAV file."""
    riff = start[:4] in (b"RIFF", b"RF64", b"BW64") and start[8:12] == b"WAVE"
    return riff or start[:16] == _W64_RIFF


def read_header(read: Read, where: str) -> WavHeader:
    """Read up to the first sample, forwards only, so that a pipe will do.

    Parameters
    ----------
    read
        Returns up to the number of bytes asked for, fewer only at the end.
    where
        The file, for the messages.

    Raises
    ------
    SourceError
        If this is no WAV file, or the header is incomplete or of a form that cannot be samples.
    """
    reader = _Reader(read, where)
    start = reader.take(16)
    if not is_wav(start):
        raise SourceError(f"{where}: not a WAV file: starts with {start[:12]!r}, expected RIFF, RF64 or W64")
    if start == _W64_RIFF:
        (file_bytes,) = struct.unpack("<Q", reader.take(24)[:8])
        chunk = _w64_chunk
    else:
        (size,) = struct.unpack("<I", start[4:8])
        file_bytes, reader.pushed_back, chunk = size + 8, start[12:], _riff_chunk
    known = {b"fmt ": b"", b"bext": b"", b"ds64": b""}
    while True:
        name, size, padding = chunk(reader)
        if name == b"data":
            break
        if name in known:
            known[name] = reader.take(min(size, _MAX_CHUNK))
            size -= len(known[name])
        reader.skip(size + padding)
    if len(known[b"ds64"]) >= 16:
        riff_size, data_size = struct.unpack("<QQ", known[b"ds64"][:16])
        file_bytes = riff_size + 8
        size = data_size if size == _UINT32_MAX else size
    return _header(known, reader, None if _is_placeholder(size) else size, file_bytes)


@dataclass(slots=True)
class _Reader:
    read: Read
    where: str
    position: int = 0
    pushed_back: bytes = b""

    def take(self, n_bytes: int) -> bytes:
        data, self.pushed_back = self.pushed_back[:n_bytes], self.pushed_back[n_bytes:]
        fresh = self.read(n_bytes - len(data))
        self.position += len(fresh)
        data += fresh
        if len(data) < n_bytes:
            raise SourceError(f"{self.where}: ends within its WAV header ({self.position} bytes), before any sample")
        return data

    def skip(self, n_bytes: int) -> None:
        while n_bytes > 0:
            n_bytes -= len(self.take(min(n_bytes, 1 << 20)))


def _riff_chunk(reader: _Reader) -> tuple[bytes, int, int]:
    """Return name, bytes and padding of the next chunk."""
    name, size = struct.unpack("<4sI", reader.take(8))
    return name, size, size % 2


def _w64_chunk(reader: _Reader) -> tuple[bytes, int, int]:
    name, size = struct.unpack("<16sQ", reader.take(24))
    if size < 24:
        raise SourceError(f"{reader.where}: a chunk of its W64 header states {size} bytes: expected 24 or more")
    return name[:4] if name[4:] == _W64_TAIL else name, size - 24, -size % 8


def _header(known: dict[bytes, bytes], reader: _Reader, data_bytes: int | None, file_bytes: int) -> WavHeader:
    form = known[b"fmt "]
    if len(form) < 16:
        raise SourceError(f"{reader.where}: its fmt chunk has {len(form)} bytes: expected 16 or more, before the data")
    tag, channels, rate_hz, _, frame_bytes, _ = struct.unpack("<HHIIHH", form[:16])
    if tag == _EXTENSIBLE and len(form) >= 26:
        (tag,) = struct.unpack("<H", form[24:26])
    # The container's size counts: 24 valid bits in 32 stand at the top of them.
    bits, rest = divmod(8 * frame_bytes, max(1, channels))
    if not channels or rest or (tag, bits) not in FORMS:
        raise SourceError(
            f"{reader.where}: WAV format {tag} with {channels} channels in {frame_bytes} bytes: "
            "expected integers of 8, 16, 24 or 32 bits or floats of 32, in 1 or 2 channels"
        )
    # EBU Tech 3285: description, originator and its reference take 320 bytes; then date (10) and time (8).
    made = known[b"bext"][320:338].decode("ascii", "replace")
    origination = f"{made[:10]} {made[10:]}".strip("\0 ")
    return WavHeader(channels, rate_hz, FORMS[tag, bits], reader.position, data_bytes, file_bytes, origination)


def _is_placeholder(size: int) -> bool:
    return size in _PLACEHOLDERS or _MIN_PLACEHOLDER <= size <= _UINT32_MAX or size >= 1 << 63
