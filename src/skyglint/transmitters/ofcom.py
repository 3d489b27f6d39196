"""United Kingdom: the VHF sheet of the regulator's transmitter parameters, CSV in Windows-1252.

Column names are those met by programs that read the real file; no real rows were at hand. Columns are found by name,
never by number; the header need not be the first row. Powers are in kilowatts with a grouping comma inside the
decimals (``0.025,000`` is 25 W).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from skyglint.transmitters.csv_rows import rows
from skyglint.transmitters.fields import checked, grid_reference, number, program_identification
from skyglint.transmitters.listing import BadRow, Listing
from skyglint.transmitters.transmitter import Transmitter

ENCODING: Final = "cp1252"
NEEDED: Final = {"station": "Station", "frequencymhz": "Frequency (MHz)", "inuseerphp": "In-Use ERP/HP"}


def read(lines: Iterable[str], source: str, dated: str = "") -> Listing:
    """Read the sheet's rows."""
    listing = Listing(source)
    for line, row in rows(lines, source, NEEDED):
        try:
            listing.transmitters.append(_transmitter(row, source, dated, line))
        except BadRow as reason:
            listing.reject(line, str(reason))
    return listing


def _transmitter(row: dict[str, str], source: str, dated: str, line: int) -> Transmitter:
    frequency = number(row["frequencymhz"], "frequency") * 1e6
    latitude, longitude = _position(row)
    horizontal, vertical = (_power(row, axis) for axis in ("hp", "vp"))
    checked(frequency, latitude, longitude, horizontal, vertical)
    antenna = number(_first(row, "aerialht", "aerialheight", "aeht"), "aerial height")
    ground = number(_first(row, "siteht", "siteheight"), "site height")
    return Transmitter(
        name=row.get("station", "").strip() or row.get("rdsps", "").replace("_", " ").strip(),
        frequency_hz=round(frequency),
        kind="fm",
        latitude_deg=latitude,
        longitude_deg=longitude,
        erp_horizontal_w=horizontal,
        erp_vertical_w=vertical,
        antenna_height_m=antenna,
        height_m=ground + antenna,
        place=row.get("site", "").strip() or row.get("area", "").strip(),
        country="GB",
        rds_pi=program_identification(row.get("rdspi", "")),
        source=source,
        dated=dated or row.get("date", "").strip(),
        line=line,
    )


def _power(row: dict[str, str], axis: str) -> float:
    in_use = row.get(f"inuseerp{axis}", "").replace(",", "")
    licensed = row.get(f"licensederp{axis}", "").replace(",", "")
    return number(in_use if in_use.strip() else licensed, "power", missing=0.0) * 1e3


def _position(row: dict[str, str]) -> tuple[float, float]:
    latitude, longitude = number(row.get("lat", ""), "Lat"), number(row.get("long", ""), "Long")
    if latitude == latitude and longitude == longitude:
        return latitude, longitude
    return grid_reference(row.get("ngr", ""))


def _first(row: dict[str, str], *names: str) -> str:
    return next((row[name] for name in names if name in row), "")
