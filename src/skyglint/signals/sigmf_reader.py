"""SigMF recordings: a ``.sigmf-meta`` with its ``.sigmf-data``, or both in a ``.sigmf`` archive, read in place.

Follows the SigMF specification 1.2 (https://sigmf.org). Besides the core fields one of our own is understood, in the
optional extension ``skyglint``: ``skyglint:sample_count``, the number of samples that the recording should hold.
"""

from __future__ import annotations

import json
import re
import tarfile
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from skyglint.errors import RequestError, SourceError
from skyglint.signals.band import Band
from skyglint.signals.block import Encoding, SourceInfo
from skyglint.signals.captures import Capture, Store, lay_out
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.layout import Layout
from skyglint.signals.options import (
    FREQUENCY_HZ,
    RATE_HZ,
    UNIX,
    SourceOptions,
    checked_number,
    settled,
)
from skyglint.signals.recording import Recording, Stretch, fingerprint, open_for_reading
from skyglint.utc import parse_utc

META, DATA, ARCHIVE = ".sigmf-meta", ".sigmf-data", ".sigmf"
_MAX_META_BYTES = 256 << 20


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the parts of a recording are: the metadata as read, and the span of the data within a file."""

    name: str
    meta: dict[str, Any]
    data_path: Path
    data_offset: int
    data_bytes: int
    stated_bytes: int


def open_sigmf(path: Path, options: SourceOptions) -> Recording:
    """Open a SigMF recording by its metadata, its data file or its archive.

    Raises
    ------
    RequestError
        If a file is missing or may not be read, or an option is missing or contradicts the metadata.
    SourceError
        If the metadata or the archive is corrupt, or does not fit the data.
    """
    place = _in_archive(path) if path.suffix == ARCHIVE else _side_by_side(path)
    where, table = place.name, _table(place.meta, "global", place.name)
    encoding = _encoding(table, options, where)
    stated_rate = table.get("core:sample_rate")
    if stated_rate is not None:
        stated_rate = checked_number(stated_rate, RATE_HZ, "core:sample_rate", where)
    rate_hz = settled("core:sample_rate", stated_rate, options.sample_rate_hz, "sample_rate_hz", where)
    captures = _captures(place.meta, encoding, options, where)
    end_byte = place.data_offset + place.data_bytes
    captures[0] = replace(captures[0], header_bytes=captures[0].header_bytes + place.data_offset)
    stated = max(_stated_samples(place.meta, where), captures[-1].sample_start)
    headers = sum(capture.header_bytes for capture in captures)
    if place.stated_bytes > place.data_bytes:
        stated = max(stated, (place.data_offset + place.stated_bytes - headers) // encoding.bytes_per_sample)
    _refuse_misfit(table, (end_byte - headers) // encoding.bytes_per_sample, encoding, place)
    parts, end_unix = lay_out(captures, Store(end_byte, encoding.bytes_per_sample, rate_hz, stated))
    stretches = [part for part in parts if isinstance(part, Stretch)]
    if not stretches:
        raise SourceError(f"{where}: holds no samples")
    band = _band(table, encoding, rate_hz, stretches[0].center_frequency_hz, options, where)
    facts = {key: value for key, value in place.meta.items() if key != "core:dataset"}
    info = SourceInfo(
        name=path.name,
        fingerprint=fingerprint(place.data_path, place.data_offset, place.data_bytes, facts),
        encoding=encoding.name,
        sample_rate_hz=rate_hz,
        center_frequency_hz=band.center_hz,
        start_unix=stretches[0].start_unix,
        end_unix=end_unix,
        band_low_hz=band.low_hz,
        band_high_hz=band.high_hz,
    )
    return Recording(place.data_path, info, Layout.plain(encoding), parts)


def describes(meta_path: Path, dataset: str) -> bool:
    """Tell whether there is SigMF metadata that names this file of another format as its dataset."""
    if not meta_path.exists():
        return False
    with open_for_reading(meta_path) as file:
        meta = _parse(file.read(_MAX_META_BYTES), str(meta_path))
    return _table(meta, "global", str(meta_path)).get("core:dataset") == dataset


def _band(
    table: dict[str, Any], encoding: Encoding, rate_hz: float, center_hz: float, options: SourceOptions, where: str
) -> Band:
    if encoding.components == 2:
        return Band.of_iq(center_hz, rate_hz)
    stated = table.get("skyglint:sideband")
    sideband = settled("skyglint:sideband", stated, options.sideband, "sideband", where)
    return Band.of_audio(center_hz, rate_hz, sideband, where)


def _side_by_side(path: Path) -> _Place:
    meta_path = path.with_suffix(META)
    if path.suffix not in (META, DATA):
        meta_path = path.parent / (path.name + META)
    with_meta = open_for_reading(meta_path) if path.suffix == META or meta_path.exists() else None
    if with_meta is None:
        raise RequestError(f"{path}: its metadata {meta_path.name} is missing beside it")
    with with_meta as file:
        meta = _parse(file.read(_MAX_META_BYTES), str(meta_path))
    table = _table(meta, "global", str(meta_path))
    dataset = table.get("core:dataset", meta_path.with_suffix(DATA).name)
    if not isinstance(dataset, str) or Path(dataset).name != dataset:
        raise SourceError(f"{meta_path}: core:dataset = {dataset!r}: expected the name of a file in the same folder")
    data_path = meta_path.with_name(dataset)
    if not data_path.exists():
        raise RequestError(f"{meta_path}: its samples {data_path.name} are missing beside it")
    with open_for_reading(data_path) as file:
        n_bytes = file.seek(0, 2)
    trailing = _count(table, "core:trailing_bytes", str(meta_path))
    n_bytes = max(0, n_bytes - trailing)
    return _Place(str(meta_path), meta, data_path, 0, n_bytes, n_bytes)


def _in_archive(path: Path) -> _Place:
    with open_for_reading(path) as file:
        members = _members(path)
        metas = [member for member in members if member.name.endswith(META)]
        if len(metas) != 1:
            names = ", ".join(member.name for member in metas) or "none"
            raise SourceError(f"{path}: expected one recording in the archive, found {names}")
        file.seek(metas[0].offset_data)
        meta = _parse(file.read(min(metas[0].size, _MAX_META_BYTES)), f"{path}: {metas[0].name}")
        stem = metas[0].name.removesuffix(META)
        data = next((member for member in members if member.name == stem + DATA), None)
        if data is None:
            raise SourceError(f"{path}: the archive holds no {stem}{DATA}")
        there = max(0, min(data.size, file.seek(0, 2) - data.offset_data))
    return _Place(str(path), meta, path, data.offset_data, there, data.size)


def _members(path: Path) -> list[tarfile.TarInfo]:
    """Return the files of an archive, as far as it goes."""
    members: list[tarfile.TarInfo] = []
    try:
        # A truncated archive raises at its end, after its last member was found: the samples are used to their end.
        with tarfile.open(path, "r:") as archive, suppress(tarfile.ReadError):
            while (member := archive.next()) is not None:
                members.append(member)
    except tarfile.TarError as error:
        raise SourceError(f"{path}: not a SigMF archive (expected an uncompressed tar file): {error}") from error
    return [member for member in members if member.isreg()]


def _parse(data: bytes, where: str) -> dict[str, Any]:
    try:
        meta = json.loads(data.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise SourceError(f"{where}: not text in UTF-8 (byte {error.start}); expected SigMF metadata") from error
    except json.JSONDecodeError as error:
        raise SourceError(
            f"{where}: not valid JSON (line {error.lineno}, column {error.colno}: {error.msg}); expected SigMF metadata"
        ) from error
    except RecursionError as error:
        raise SourceError(f"{where}: JSON nested beyond reason; expected SigMF metadata") from error
    if not isinstance(meta, dict):
        raise SourceError(f"{where}: expected a JSON object with global and captures, found {type(meta).__name__}")
    return meta


def _table(meta: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    table = meta.get(key)
    if not isinstance(table, dict):
        raise SourceError(f"{where}: {key} is missing or no object; expected SigMF metadata")
    return table


def _list(meta: dict[str, Any], key: str, where: str) -> list[dict[str, Any]]:
    items = meta.get(key, [])
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise SourceError(f"{where}: {key}: expected a list of objects")
    return items


def _count(table: dict[str, Any], key: str, where: str) -> int:
    value = table.get(key, 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << 63:
        raise SourceError(f"{where}: {key} = {value!r}: expected a whole number from 0 to 2^63")
    return value


def _encoding(table: dict[str, Any], options: SourceOptions, where: str) -> Encoding:
    name = table.get("core:datatype")
    if not isinstance(name, str) or name not in ENCODINGS:
        raise SourceError(f"{where}: core:datatype = {name!r}: expected one of {', '.join(sorted(ENCODINGS))}")
    if _count(table, "core:num_channels", where) > 1:
        raise SourceError(f"{where}: core:num_channels = {table['core:num_channels']}: expected 1")
    settled("core:datatype", name, options.encoding, "encoding", where)
    return ENCODINGS[name]


def _captures(meta: dict[str, Any], encoding: Encoding, options: SourceOptions, where: str) -> list[Capture]:
    tables = _list(meta, "captures", where) or [{}]
    key, option = "center_frequency_hz", options.center_frequency_hz
    if encoding.components == 1:
        key, option = "dial_frequency_hz", options.dial_frequency_hz
    captures: list[Capture] = []
    for number, table in enumerate(tables):
        at = f"{where}: captures[{number}]"
        frequency = table.get("core:frequency")
        if frequency is not None:
            frequency = checked_number(frequency, FREQUENCY_HZ, "core:frequency", at)
        stated_unix, resolution_s = _time(table.get("core:datetime"), at)
        if captures:
            frequency = frequency or captures[-1].center_frequency_hz
        else:
            frequency = settled("core:frequency", frequency, option, key, at)
            stated_unix = settled("core:datetime", stated_unix, options.start_unix, "start_unix", at)
        sample_start = _count(table, "core:sample_start", at)
        if captures and sample_start < captures[-1].sample_start:
            raise SourceError(f"{at}: core:sample_start = {sample_start}: expected captures in order of their samples")
        global_index = _count(table, "core:global_index", at) if "core:global_index" in table else None
        headers = _count(table, "core:header_bytes", at)
        captures.append(Capture(sample_start, headers, frequency, stated_unix, resolution_s, global_index))
    return captures


def _time(text: object, where: str) -> tuple[float | None, float]:
    if text is None:
        return None, 0.0
    expected = "expected a UTC time like 2026-08-13T02:00:00.000Z"
    if not isinstance(text, str):
        raise SourceError(f"{where}: core:datetime = {text!r}: {expected}")
    try:
        unix = parse_utc(text)
    except (ValueError, OverflowError) as error:
        raise SourceError(f'{where}: core:datetime = "{text}": {expected}') from error
    if not UNIX[0] <= unix <= UNIX[1]:
        raise SourceError(f'{where}: core:datetime = "{text}": expected a time between 1970 and 2200')
    digits = re.search(r"[.,](\d+)", text)
    return unix, 10.0 ** -len(digits[1]) if digits else 1.0


def _stated_samples(meta: dict[str, Any], where: str) -> int:
    """Return how many samples the metadata tells of, in the recording's own count or by its annotations."""
    stated = _count(meta["global"], "skyglint:sample_count", where)
    for number, table in enumerate(_list(meta, "annotations", where)):
        at = f"{where}: annotations[{number}]"
        stated = max(stated, _count(table, "core:sample_start", at) + _count(table, "core:sample_count", at))
    return stated


def _refuse_misfit(table: dict[str, Any], held: int, encoding: Encoding, place: _Place) -> None:
    stated = table.get("skyglint:sample_count")
    if stated is not None and held > stated:
        raise SourceError(
            f"{place.name}: states {stated} samples, but its data would hold {held} of {encoding.name}: "
            "expected another core:datatype"
        )
