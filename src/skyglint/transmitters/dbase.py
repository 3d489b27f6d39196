"""dBase III tables: the header's field list, then records of fixed width."""

from __future__ import annotations

import struct
from collections.abc import Iterator

from skyglint.errors import RequestError

_DELETED = b"*"


def records(data: bytes, name: str, encoding: str = "cp1252") -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the number (from 1) and the fields by name of every record that is not marked as deleted.

    Layout: dBase III file structure: a header of 32 bytes, 32 bytes a field, the byte 0x0D, then the records.

    Raises
    ------
    RequestError
        If the file is not such a table or ends early.
    """
    if len(data) < 33 or data[0] & 0x07 not in {3, 4}:
        raise RequestError(f"{name}: not a dBase table")
    count, header_bytes, record_bytes = struct.unpack_from("<IHH", data, 4)
    if header_bytes < 65 or record_bytes < 2:
        raise RequestError(f"{name}: not a dBase table: a header of {header_bytes} bytes, records of {record_bytes}")
    fields: list[tuple[str, int, int]] = []
    offset = 1
    for start in range(32, min(header_bytes, len(data) - 31), 32):
        if data[start] == 0x0D:
            break
        label = data[start : start + 11].split(b"\0")[0].decode("ascii", "replace").upper()
        fields.append((label, offset, data[start + 16]))
        offset += data[start + 16]
    if len(data) < header_bytes + count * record_bytes:
        raise RequestError(f"{name}: ends early: {count} records of {record_bytes} bytes were announced")
    labels = [label for label, _, _ in fields]
    for index in range(count):
        start = header_bytes + index * record_bytes
        record = data[start : start + record_bytes]
        if record[:1] != _DELETED:
            texts = (record[at : at + size].decode(encoding, "replace").strip() for _, at, size in fields)
            yield index + 1, dict(zip(labels, texts, strict=True))
