"""USA: the text output of the FCC's FM Query, fields between bars.

Layout: the FCC's key to the text list, and real rows of 2016 (37 fields) and 2026 (39 fields). Read by position from
the left; further fields are ignored.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from skyglint.transmitters.fields import angle, checked, number
from skyglint.transmitters.listing import BadRow, Listing, NotTransmitter
from skyglint.transmitters.raster import american_channel_hz
from skyglint.transmitters.transmitter import Status, Transmitter

_FEWEST_PIECES: Final = 38  # up to the height above ground, the last field that is used
_SERVICES: Final = {"FM", "FX", "FL", "FB", "FS"}
_NOT_RADIATING: Final = {"USE": "allotment", "VAC": "allotment", "RSV": "allotment", "ADD": "allotment"}
_PLANNED: Final = {"CP", "CP MOD", "APP"}
_LICENSED: Final = {"LIC", "STA"}


def read(lines: Iterable[str], source: str, dated: str = "") -> Listing:
    """Read FM Query rows; blank lines are passed over."""
    listing = Listing(source)
    for line, text in enumerate(lines, start=1):
        if not text.strip():
            continue
        try:
            listing.transmitters.append(_transmitter(text.split("|"), source, dated, line))
        except NotTransmitter as kind:
            listing.set_aside[str(kind)] += 1
        except BadRow as reason:
            listing.reject(line, str(reason))
    return listing


def _transmitter(pieces: list[str], source: str, dated: str, line: int) -> Transmitter:
    if len(pieces) < _FEWEST_PIECES or pieces[0].strip():
        raise BadRow(f"{len(pieces)} pieces between bars: expected at least {_FEWEST_PIECES}, the first one empty")
    name, status = pieces[1].strip(), _status(pieces[3].strip(), pieces[9].strip(), pieces[18].strip(), pieces[1])
    frequency = number(pieces[2], "frequency") * 1e6
    channel = number(pieces[4], "channel")
    if 200 <= channel <= 300 and abs(frequency - american_channel_hz(int(channel))) > 1e3:
        raise BadRow(f"frequency is {frequency / 1e6:g} MHz and channel {channel:.0f}: they do not belong together")
    latitude = angle(pieces[20], pieces[21], pieces[22], pieces[19], "latitude")
    longitude = angle(pieces[24], pieces[25], pieces[26], pieces[23], "longitude")
    horizontal, vertical = (number(pieces[k], "power", missing=0.0) * 1e3 for k in (14, 15))
    checked(frequency, latitude, longitude, horizontal, vertical)
    facility = pieces[18].strip()
    return Transmitter(
        name=name,
        frequency_hz=round(frequency),
        kind="fm",
        latitude_deg=latitude,
        longitude_deg=longitude,
        erp_horizontal_w=horizontal,
        erp_vertical_w=vertical,
        antenna_height_m=_positive(number(pieces[36], "height above ground")),
        height_m=_above_sea(pieces[31], pieces[32]),
        directional=pieces[5].strip() == "DA",
        place=", ".join(filter(None, (pieces[10].strip(), pieces[11].strip()))),
        country=pieces[12].strip(),
        status=status,
        facility="" if facility in {"", "0", "-"} else facility,
        source=source,
        dated=dated,
        line=line,
    )


def _status(service: str, status: str, facility: str, name: str) -> Status:
    if service in {"FA", "FR"} or status in _NOT_RADIATING:
        raise NotTransmitter("allotment or rule-making")
    if service not in _SERVICES:
        raise BadRow(f"service is {service!r}: expected one of {', '.join(sorted(_SERVICES | {'FA', 'FR'}))}")
    # American calls begin with K or W; a D before that marks a deleted station.
    if name.strip().startswith(("DK", "DW")):
        raise NotTransmitter("deleted station")
    if service == "FS":
        return "auxiliary"
    if status in _LICENSED:
        return "licensed"
    if status in _PLANNED:
        return "planned"
    raise BadRow(f"status is {status!r}: expected LIC, STA, CP, CP MOD, APP, USE, VAC, RSV or ADD")


def _above_sea(horizontal: str, vertical: str) -> float:
    # The height of a polarisation that is not fed is printed as 0.0: the other one counts.
    stated = [number(text, "height above sea") for text in (horizontal, vertical)]
    used = [height for height in stated if not math.isnan(height) and height != 0]
    return max(used) if used else math.nan


def _positive(height: float) -> float:
    return height if height > 0 else math.nan
