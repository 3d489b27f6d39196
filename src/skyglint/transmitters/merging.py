"""Duplicates: the rows of one transmitter become one record, by these rules.

1. Rows are one transmitter if they share the frequency and either the list's station number or the name, and stand
   within 2 km of each other.
2. The surest status wins: licensed before planned before auxiliary. Rows of a lesser status at that transmitter go.
3. Rows of the same status join: each polarisation keeps its largest power (a horizontal and a vertical entry become
   one record with both), and what one row leaves out the other supplies.
4. A planned or auxiliary row of a station that has a licensed row on that frequency elsewhere goes too: it is the same
   station, not a second one on the air.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from skyglint.transmitters.transmitter import Status, Transmitter

_SAME_SITE_KM: Final = 2.0
_ORDER: Final[dict[Status, int]] = {"licensed": 0, "planned": 1, "auxiliary": 2}


def merge(transmitters: Iterable[Transmitter]) -> tuple[list[Transmitter], int]:
    """Return the transmitters with duplicates merged, in order of their first row, and how many rows that took away."""
    groups: defaultdict[tuple[str, str, int], list[Transmitter]] = defaultdict(list)
    count = 0
    for one in transmitters:
        groups[_station(one)].append(one)
        count += 1
    merged = [record for rows in groups.values() for record in (_station_records(rows) if len(rows) > 1 else rows)]
    return merged, count - len(merged)


def _station(one: Transmitter) -> tuple[str, str, int]:
    return one.source, one.facility or one.name.upper(), round(one.frequency_hz / 1e3)


def _station_records(rows: list[Transmitter]) -> list[Transmitter]:
    surest = min(_ORDER[row.status] for row in rows)
    kept = [row for row in rows if _ORDER[row.status] == surest]
    sites: list[list[Transmitter]] = []
    for row in kept:
        home = next((site for site in sites if _apart_km(site[0], row) <= _SAME_SITE_KM), None)
        if home is None:
            sites.append([row])
        else:
            home.append(row)
    return [_joined(site) for site in sites]


def _apart_km(one: Transmitter, other: Transmitter) -> float:
    # Plane geometry is good to metres over 2 km.
    north = (one.latitude_deg - other.latitude_deg) * 111.2
    turn = (one.longitude_deg - other.longitude_deg + 180) % 360 - 180
    return math.hypot(north, turn * 111.2 * math.cos(math.radians(one.latitude_deg)))


def _joined(rows: Sequence[Transmitter]) -> Transmitter:
    first = rows[0]
    if len(rows) == 1:
        return first
    return replace(
        first,
        erp_horizontal_w=max(row.erp_horizontal_w for row in rows),
        erp_vertical_w=max(row.erp_vertical_w for row in rows),
        antenna_height_m=_first_number(row.antenna_height_m for row in rows),
        height_m=_first_number(row.height_m for row in rows),
        directional=any(row.directional for row in rows),
        pattern=next((row.pattern for row in rows if row.pattern), None),
        rds_pi=next((row.rds_pi for row in rows if row.rds_pi), ""),
    )


def _first_number(values: Iterable[float]) -> float:
    return next((value for value in values if not math.isnan(value)), math.nan)
