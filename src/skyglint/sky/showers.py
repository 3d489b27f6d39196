"""Meteor showers: the packaged table, when each is active, where its radiant stands, how strong it is.

The table (``data/showers.csv``) says of every row where it comes from and whether a text that states it was read
(``confirmed`` is ``seen``) or not (``memory``). Blank numbers are NaN here: not given, never zero. Speeds are those at
the top of the atmosphere, V_inf.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.sky.earth import Array
from skyglint.sky.sporadic import SporadicSource, source_vectors_j2000
from skyglint.sky.sun import signed_deg, solar_longitude_deg
from skyglint.utc import parse_utc

Kind = Literal["night", "daytime", "sporadic"]

#: Windows of the calendar's rows were worked out from whole days at 12 h UT of 2026: half a degree either way.
_DAY_MARGIN_DEG = 0.5

#: The antihelion source: 12 degrees east of the antisolar point (IMO Meteor Shower Calendar 2026, table 5).
_ANTIHELION = SporadicSource("ANT", 192.0, 0.0, 30.0, 15.0, 30.0, 1.0)


@dataclass(frozen=True, slots=True)
class Shower:
    """One row of the table. Longitudes are solar longitudes, J2000; NaN and empty text mean "not given".

    Attributes
    ----------
    iau_code, iau_number, name, kind
        The stream's names; ``iau_number`` is 0 for the antihelion source, which is not a shower.
    activity_start_deg, activity_end_deg
        Window of activity; it may wrap through 360.
    activity_start_md, activity_end_md, peak_date
        Month and day of the source, where it gives them.
    peak_solar_longitude_deg, radiant_ra_deg, radiant_dec_deg
        Time of the maximum and radiant then, J2000.
    dra_deg_per_deg, ddec_deg_per_deg
        Drift of the radiant per degree of solar longitude.
    speed_km_s, speed_kind
        V_inf, and whether the source states it or it was worked out from V_g.
    population_index, zhr_max
        Of the visual display at the maximum.
    slope_before_per_deg, slope_after_per_deg
        Slopes B of the activity, ZHR_max 10^(-B |difference|).
    source, confirmed, notes
        Where the row comes from and what to know of it.
    """

    iau_code: str
    iau_number: int
    name: str
    kind: Kind
    activity_start_deg: float
    activity_end_deg: float
    activity_start_md: str
    activity_end_md: str
    peak_solar_longitude_deg: float
    peak_date: str
    radiant_ra_deg: float
    radiant_dec_deg: float
    dra_deg_per_deg: float
    ddec_deg_per_deg: float
    speed_km_s: float
    speed_kind: str
    population_index: float
    zhr_max: float
    slope_before_per_deg: float
    slope_after_per_deg: float
    source: str
    confirmed: str
    notes: str

    @property
    def retired(self) -> bool:
        """Tell whether the row stands in an older list only."""
        return self.source.startswith("older ")

    @property
    def mass_index(self) -> float:
        """Mass index s = 1 + 2.5 log10 r (Koschack & Rendtel 1990); NaN without a population index."""
        return 1.0 + 2.5 * math.log10(self.population_index)

    def is_active(self, solar_longitude: ArrayLike) -> NDArray[np.bool_]:
        """Tell whether solar longitudes lie in the window of activity; false where no window is given."""
        margin = _DAY_MARGIN_DEG if self.activity_start_md else 0.0
        length = (self.activity_end_deg - self.activity_start_deg) % 360.0 + 2.0 * margin
        since = (np.asarray(solar_longitude, dtype=np.float64) - self.activity_start_deg + margin) % 360.0
        return np.asarray(since <= length)

    def radiant_deg(self, solar_longitude: ArrayLike) -> tuple[Array, Array]:
        """Return right ascension (0 to 360) and declination, J2000, at solar longitudes.

        The drift holds within the window of activity; outside, the radiant is that of the nearer end. Without a
        published drift it stands still.
        """
        if self.kind == "sporadic":
            x, y, z = np.moveaxis(source_vectors_j2000(solar_longitude, [_ANTIHELION])[0], -1, 0)
            return np.degrees(np.arctan2(y, x)) % 360.0, np.degrees(np.arcsin(z))
        since = signed_deg(np.asarray(solar_longitude, dtype=np.float64) - self.peak_solar_longitude_deg)
        if not math.isnan(self.activity_start_deg):
            first = signed_deg(self.activity_start_deg - self.peak_solar_longitude_deg)
            last = signed_deg(self.activity_end_deg - self.peak_solar_longitude_deg)
            since = np.clip(since, np.minimum(first, 0.0), np.maximum(last, 0.0))
        ra_drift, dec_drift = np.nan_to_num([self.dra_deg_per_deg, self.ddec_deg_per_deg])
        return (self.radiant_ra_deg + ra_drift * since) % 360.0, self.radiant_dec_deg + dec_drift * since

    def profile(self, solar_longitude: ArrayLike) -> Array:
        """Return the activity relative to the maximum, 10^(-B |difference|), 1 at the maximum of an ordinary year.

        Source: Jenniskens 1994, A&A 287, 990. Where no slope is published (``profile_assumed``) activity is taken to
        fall to a tenth at the ends of the window; NaN where there is no window either.
        """
        since = signed_deg(np.asarray(solar_longitude, dtype=np.float64) - self.peak_solar_longitude_deg)
        before, after = self.slope_before_per_deg, self.slope_after_per_deg
        if self.profile_assumed:
            ends = signed_deg(
                [
                    self.peak_solar_longitude_deg - self.activity_start_deg,
                    self.activity_end_deg - self.peak_solar_longitude_deg,
                ]
            )
            before, after = 1.0 / np.maximum(ends, 1.0)
        activity: Array = 10.0 ** (-np.where(since < 0.0, before, after) * np.abs(since))
        return activity

    def zhr(self, solar_longitude: ArrayLike) -> Array:
        """Return the visual zenithal hourly rate of an ordinary year; NaN where none is given for the maximum."""
        return self.zhr_max * self.profile(solar_longitude)

    @property
    def profile_assumed(self) -> bool:
        """Tell whether no slope of the activity is published."""
        return math.isnan(self.slope_before_per_deg)


@cache
def load_showers() -> tuple[Shower, ...]:
    """Return the packaged table, ordered by the solar longitude of the maximum."""
    slopes = {row["iau_code"]: row for row in _rows("profiles.csv")}
    showers = [_shower(row, slopes.get(row["iau_code"], {})) for row in _rows("showers.csv")]
    return tuple(sorted(showers, key=lambda shower: (math.isnan(shower.peak_solar_longitude_deg), _peak(shower))))


def active_showers(unix: float) -> tuple[Shower, ...]:
    """Return the showers of the current lists that are active at an instant, the antihelion source among them."""
    longitude = solar_longitude_deg(unix)
    return tuple(shower for shower in load_showers() if not shower.retired and bool(shower.is_active(longitude)))


def _peak(shower: Shower) -> float:
    return 0.0 if math.isnan(shower.peak_solar_longitude_deg) else shower.peak_solar_longitude_deg


def _rows(name: str) -> list[dict[str, str]]:
    text = (files("skyglint.sky") / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _shower(row: dict[str, str], slope: dict[str, str]) -> Shower:
    return Shower(
        iau_code=row["iau_code"],
        iau_number=int(row["iau_number"] or 0),
        name=row["name"],
        kind=cast("Kind", row["kind"]),
        activity_start_deg=_longitude(row["activity_start"], row["activity_start_md"]),
        activity_end_deg=_longitude(row["activity_end"], row["activity_end_md"]),
        activity_start_md=row["activity_start_md"],
        activity_end_md=row["activity_end_md"],
        peak_solar_longitude_deg=_number(row["peak_solar_longitude_deg"]),
        peak_date=row["peak_date"],
        radiant_ra_deg=_number(row["radiant_ra_deg"]),
        radiant_dec_deg=_number(row["radiant_dec_deg"]),
        dra_deg_per_deg=_number(row["dra_deg_per_deg"]),
        ddec_deg_per_deg=_number(row["ddec_deg_per_deg"]),
        speed_km_s=_number(row["speed_km_s"]),
        speed_kind=row["speed_kind"],
        population_index=_number(row["population_index_r"]),
        zhr_max=_number(row["zhr_max"]),
        slope_before_per_deg=_number(slope.get("slope_before_per_deg", "")),
        slope_after_per_deg=_number(slope.get("slope_after_per_deg", "")),
        source=row["source"],
        confirmed=row["confirmed"],
        notes=row["notes"],
    )


def _number(text: str) -> float:
    return float(text) if text else math.nan


def _longitude(text: str, month_day: str) -> float:
    if text or not month_day:
        return _number(text)
    return float(solar_longitude_deg(parse_utc(f"2026-{month_day}T12:00:00Z")))
