"""Our own list, for anyone's: a CSV file with a header line, columns in any order, extra ones ignored."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from skyglint.site import Kind
from skyglint.transmitters.acma import split_power
from skyglint.transmitters.csv_rows import rows
from skyglint.transmitters.fields import checked, number, program_identification
from skyglint.transmitters.listing import BadRow, Listing
from skyglint.transmitters.transmitter import Transmitter

NEEDED: Final = {name: name for name in ("name", "frequency_hz", "kind", "latitude_deg", "longitude_deg", "power_w")}


def read(lines: Iterable[str], source: str, dated: str = "") -> Listing:
    """Read rows of ``name, frequency_hz, kind, latitude_deg, longitude_deg, power_w`` and, if there, further columns.

    ``power_w`` is the effective radiated power over a half-wave dipole; mixed, circular and unstated polarisation share
    it evenly between horizontal and vertical. The optional columns are ``antenna_height_m`` (above ground),
    ``height_m`` (radiation centre above sea level), ``polarization`` and ``rds_pi``.
    """
    listing = Listing(source)
    for line, row in rows(lines, source, NEEDED, rename=lambda name: name.strip().lower()):
        try:
            listing.transmitters.append(_transmitter(row, source, dated, line))
        except BadRow as reason:
            listing.reject(line, str(reason))
    return listing


def _transmitter(row: dict[str, str], source: str, dated: str, line: int) -> Transmitter:
    name, kind = row.get("name", "").strip(), row.get("kind", "").strip().lower()
    if not name:
        raise BadRow("name is blank")
    if kind not in {"fm", "carrier"}:
        raise BadRow(f"kind is {kind!r}: expected fm or carrier")
    frequency, latitude, longitude, power = (
        number(row.get(key, ""), key) for key in ("frequency_hz", "latitude_deg", "longitude_deg", "power_w")
    )
    horizontal, vertical = split_power(power, row.get("polarization", ""))
    checked(frequency, latitude, longitude, horizontal, vertical)
    known: Kind = "fm" if kind == "fm" else "carrier"
    return Transmitter(
        name=name,
        frequency_hz=frequency,
        kind=known,
        latitude_deg=latitude,
        longitude_deg=longitude,
        erp_horizontal_w=horizontal,
        erp_vertical_w=vertical,
        antenna_height_m=number(row.get("antenna_height_m", ""), "antenna_height_m"),
        height_m=number(row.get("height_m", ""), "height_m"),
        rds_pi=program_identification(row.get("rds_pi", "")),
        source=source,
        dated=dated,
        line=line,
    )
