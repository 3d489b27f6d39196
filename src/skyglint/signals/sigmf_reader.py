"""SigMF recordings: a ``.sigmf-meta`` with its ``.sigmf-data``, or both in a ``.sigmf`` archive, read in place.

Follows the SigMF specification 1.2 (https://sigmf.org). Besides the core fields one of our own is understood, in the
optional extension ``skyglint``: ``skyglint:sample_count``, the number of samples that the recording should hold, and
``skyglint:sideband`` (``usb`` or ``lsb``) of real samples, whose ``core:frequency`` is the dial frequency.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from skyglint.errors import SourceError
from skyglint.signals.band import Band, refuse_other_kind
from skyglint.signals.block import Encoding, SourceInfo
from skyglint.signals.captures import Capture, Store, lay_out
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.layout import Layout
from skyglint.signals.options import FREQUENCY_HZ, RATE_HZ, SourceOptions, checked_number, settled, shown
from skyglint.signals.recording import Recording, Stretch, fingerprint
from skyglint.signals.sigmf_fields import Table, count_of, table_of, tables_of, time_of
from skyglint.signals.sigmf_files import Place, find_files


def open_sigmf(path: Path, options: SourceOptions) -> Recording:
    """Open a SigMF recording by its metadata, its data file or its archive.

    Raises
    ------
    RequestError
        If a file is missing or may not be read, or an option is missing or contradicts the metadata.
    SourceError
        If the metadata or the archive is corrupt, or does not fit the data.
    """
    place = find_files(path)
    where, table = place.name, table_of(place.meta, "global", place.name)
    encoding = _encoding(table, options, where)
    stated_hz = table.get("core:sample_rate")
    if stated_hz is not None:
        stated_hz = checked_number(stated_hz, RATE_HZ, "core:sample_rate", where)
    rate_hz = settled("core:sample_rate", stated_hz, options.sample_rate_hz, "sample_rate_hz", where)
    captures = _captures(place.meta, encoding, options, where)
    captures[0] = replace(captures[0], header_bytes=captures[0].header_bytes + place.data_offset)
    parts, end_unix = lay_out(captures, _store(place, captures, encoding, rate_hz))
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


def _band(
    table: Table, encoding: Encoding, rate_hz: float, center_hz: float, options: SourceOptions, where: str
) -> Band:
    if encoding.components == 2:
        return Band.of_iq(center_hz, rate_hz)
    stated = table.get("skyglint:sideband")
    sideband = settled("skyglint:sideband", stated, options.sideband, "sideband", where)
    return Band.of_audio(center_hz, rate_hz, sideband, where)


def _encoding(table: Table, options: SourceOptions, where: str) -> Encoding:
    name = table.get("core:datatype")
    if not isinstance(name, str) or name not in ENCODINGS:
        raise SourceError(f"{where}: core:datatype = {shown(name)}: expected one of {', '.join(sorted(ENCODINGS))}")
    if count_of(table, "core:num_channels", where) > 1:
        raise SourceError(f"{where}: core:num_channels = {table['core:num_channels']}: expected 1")
    settled("core:datatype", name, options.encoding, "encoding", where)
    refuse_other_kind(ENCODINGS[name], options, where)
    return ENCODINGS[name]


def _captures(meta: Table, encoding: Encoding, options: SourceOptions, where: str) -> list[Capture]:
    tables = tables_of(meta, "captures", where) or [{}]
    key, option = "center_frequency_hz", options.center_frequency_hz
    if encoding.components == 1:
        key, option = "dial_frequency_hz", options.dial_frequency_hz
    captures: list[Capture] = []
    for number, table in enumerate(tables):
        at = f"{where}: captures[{number}]"
        frequency = table.get("core:frequency")
        if frequency is not None:
            frequency = checked_number(frequency, FREQUENCY_HZ, "core:frequency", at)
        stated_unix, resolution_s = time_of(table.get("core:datetime"), at)
        if captures:
            frequency = frequency or captures[-1].center_frequency_hz
        else:
            frequency = settled("core:frequency", frequency, option, key, at)
            stated_unix = settled("core:datetime", stated_unix, options.start_unix, "start_unix", at)
        sample_start = count_of(table, "core:sample_start", at)
        if captures and sample_start < captures[-1].sample_start:
            raise SourceError(f"{at}: core:sample_start = {sample_start}: expected captures in order of their samples")
        global_index = count_of(table, "core:global_index", at) if "core:global_index" in table else None
        headers = count_of(table, "core:header_bytes", at)
        captures.append(Capture(sample_start, headers, frequency, stated_unix, resolution_s, global_index))
    return captures


def _store(place: Place, captures: list[Capture], encoding: Encoding, rate_hz: float) -> Store:
    """Return where the samples end and where they should, or refuse data that is longer than it may be."""
    stride = encoding.bytes_per_sample
    first_byte = sum(capture.header_bytes for capture in captures)
    end_byte = place.data_offset + place.data_bytes
    held = (end_byte - first_byte) // stride
    stated = count_of(place.meta["global"], "skyglint:sample_count", place.name)
    if 0 < stated < held:
        raise SourceError(
            f"{place.name}: states {stated} samples, but its data would hold {held} of {encoding.name}: "
            "expected another core:datatype"
        )
    for number, table in enumerate(tables_of(place.meta, "annotations", place.name)):
        at = f"{place.name}: annotations[{number}]"
        stated = max(stated, count_of(table, "core:sample_start", at) + count_of(table, "core:sample_count", at))
    if place.stated_bytes > place.data_bytes:
        stated = max(stated, (place.data_offset + place.stated_bytes - first_byte) // stride)
    return Store(end_byte, stride, rate_hz, max(stated, captures[-1].sample_start))
