"""Australia: the broadcast transmitter list, CSV.

Column names are those of the edition of July 2011; no real rows were at hand. Powers are in watts; coordinates are
written ``34 50 07S`` in the older and ``-33 50 22`` in a newer edition, and both are read. Only the FM sheet counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from skyglint.transmitters.csv_rows import rows
from skyglint.transmitters.fields import checked, number, spaced_angle
from skyglint.transmitters.listing import BadRow, Listing, NotTransmitter
from skyglint.transmitters.transmitter import Transmitter

NEEDED: Final = {
    "frequencymhz": "Frequency(MHz)",
    "maximumerpw": "Maximum ERP (W)",
    "latitude": "Latitude",
    "longitude": "Longitude",
}
_ISSUED: Final = {"", "issued", "i", "operating"}


def read(lines: Iterable[str], source: str, dated: str = "") -> Listing:
    """Read the FM sheet's rows."""
    listing = Listing(source)
    for line, row in rows(lines, source, NEEDED):
        try:
            listing.transmitters.append(_transmitter(row, source, dated, line))
        except NotTransmitter as kind:
            listing.set_aside[str(kind)] += 1
        except BadRow as reason:
            listing.reject(line, str(reason))
    return listing


def _transmitter(row: dict[str, str], source: str, dated: str, line: int) -> Transmitter:
    status = row.get("status", "").strip().lower()
    if status not in _ISSUED:
        raise NotTransmitter(f"status {status}")
    frequency = number(row["frequencymhz"], "frequency") * 1e6
    latitude, longitude = spaced_angle(row["latitude"], "latitude"), spaced_angle(row["longitude"], "longitude")
    horizontal, vertical = split_power(
        number(row["maximumerpw"].replace(",", ""), "power", missing=0.0), row.get("polarisation", "")
    )
    checked(frequency, latitude, longitude, horizontal, vertical)
    return Transmitter(
        name=row.get("callsign", "").strip() or row.get("onairid", "").strip(),
        frequency_hz=round(frequency),
        kind="fm",
        latitude_deg=latitude,
        longitude_deg=longitude,
        erp_horizontal_w=horizontal,
        erp_vertical_w=vertical,
        antenna_height_m=number(row.get("antennaheightm", ""), "antenna height"),
        directional=row.get("antennapattern", "").strip().upper() == "DA",
        place=", ".join(filter(None, (row.get("areaserved", "").strip(), row.get("state", "").strip()))),
        country="AU",
        source=source,
        dated=dated,
        line=line,
    )


def split_power(power_w: float, polarization: str) -> tuple[float, float]:
    """Return a total power as its horizontal and vertical parts; mixed, circular and unstated share it evenly."""
    letter = polarization.strip()[:1].upper()
    if letter not in {"H", "V", "M", "C", ""}:
        raise BadRow(f"polarisation is {polarization.strip()!r}: expected horizontal, vertical, mixed or circular")
    return {"H": (power_w, 0.0), "V": (0.0, power_w)}.get(letter, (power_w / 2, power_w / 2))
