"""The files of a SigMF recording: metadata and data side by side, or both in an archive."""

from __future__ import annotations

import tarfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from skyglint.errors import RequestError, SourceError
from skyglint.signals.options import shown
from skyglint.signals.recording import open_for_reading
from skyglint.signals.sigmf_fields import Table, count_of, parse_metadata, table_of

META, DATA, ARCHIVE = ".sigmf-meta", ".sigmf-data", ".sigmf"
_MAX_META_BYTES = 256 << 20


@dataclass(frozen=True, slots=True)
class Place:
    """Where the parts of a recording are.

    Attributes
    ----------
    name
        The file that holds the metadata, for messages.
    meta
        The metadata.
    data_path, data_offset, data_bytes
        The span of the samples within a file.
    stated_bytes
        How long that span should be.
    """

    name: str
    meta: Table
    data_path: Path
    data_offset: int
    data_bytes: int
    stated_bytes: int


def find_files(path: Path) -> Place:
    """Return where metadata and samples are, of a recording named by any of its files.

    Raises
    ------
    RequestError
        If a file is missing or may not be read.
    SourceError
        If the metadata or the archive is corrupt.
    """
    return _in_archive(path) if path.suffix == ARCHIVE else _side_by_side(path)


def describes(meta_path: Path, dataset: str) -> bool:
    """Tell whether there is SigMF metadata that names this file of another format as its dataset."""
    if not meta_path.exists():
        return False
    with open_for_reading(meta_path) as file:
        meta = parse_metadata(file.read(_MAX_META_BYTES), str(meta_path))
    return table_of(meta, "global", str(meta_path)).get("core:dataset") == dataset


def _side_by_side(path: Path) -> Place:
    meta_path = path.with_suffix(META)
    if path.suffix not in (META, DATA):
        meta_path = path.parent / (path.name + META)
    if path.suffix == DATA and not meta_path.exists():
        raise RequestError(f"{path}: its metadata {meta_path.name} is missing beside it")
    with open_for_reading(meta_path) as file:
        meta = parse_metadata(file.read(_MAX_META_BYTES), str(meta_path))
    table = table_of(meta, "global", str(meta_path))
    dataset = table.get("core:dataset", meta_path.with_suffix(DATA).name)
    if not isinstance(dataset, str) or not dataset or Path(dataset).name != dataset:
        raise SourceError(f"{meta_path}: core:dataset = {shown(dataset)}: expected the name of a file beside it")
    data_path = meta_path.with_name(dataset)
    if not data_path.exists():
        raise RequestError(f"{meta_path}: its samples {data_path.name} are missing beside it")
    with open_for_reading(data_path) as file:
        n_bytes = file.seek(0, 2)
    trailing = count_of(table, "core:trailing_bytes", str(meta_path))
    n_bytes = max(0, n_bytes - trailing)
    return Place(str(meta_path), meta, data_path, 0, n_bytes, n_bytes)


def _in_archive(path: Path) -> Place:
    with open_for_reading(path) as file:
        members = _members(path)
        metas = [member for member in members if member.name.endswith(META)]
        if len(metas) != 1:
            names = ", ".join(member.name for member in metas) or "none"
            raise SourceError(f"{path}: expected one recording in the archive, found {names}")
        file.seek(metas[0].offset_data)
        meta = parse_metadata(file.read(min(metas[0].size, _MAX_META_BYTES)), f"{path}: {metas[0].name}")
        stem = metas[0].name.removesuffix(META)
        data = next((member for member in members if member.name == stem + DATA), None)
        if data is None:
            raise SourceError(f"{path}: the archive holds no {stem}{DATA}")
        there = max(0, min(data.size, file.seek(0, 2) - data.offset_data))
    return Place(str(path), meta, path, data.offset_data, there, data.size)


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
