"""One transmitter, and a whole list of them as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.site import Kind

#: ``licensed``: on the air as far as the list knows; ``planned``: permitted or applied for; ``auxiliary``: radiates
#: only when its main transmitter is off.
Status = Literal["licensed", "planned", "auxiliary"]

NOT_STATED = float("nan")


@dataclass(frozen=True, slots=True)
class Pattern:
    """A horizontal radiation pattern: field relative to its maximum at azimuths, clockwise from true north."""

    azimuth_deg: tuple[float, ...]
    relative_field: tuple[float, ...]

    def relative_power(self, azimuth_deg: ArrayLike) -> NDArray[np.float64]:
        """Return the power towards azimuths relative to the maximum, the field interpolated between its points."""
        order = np.argsort(np.mod(self.azimuth_deg, 360.0))
        known = np.mod(self.azimuth_deg, 360.0)[order]
        field = np.asarray(self.relative_field, dtype=np.float64)[order]
        return np.asarray(np.interp(np.mod(azimuth_deg, 360.0), known, field, period=360.0) ** 2)


@dataclass(frozen=True, slots=True)
class Transmitter:
    """A station on the ground that lights the trails, as a list states it.

    Attributes
    ----------
    name
        Call sign or name.
    erp_horizontal_w, erp_vertical_w
        Largest effective radiated power over a half-wave dipole in each polarisation, 0 where there is none.
    antenna_height_m
        Radiation centre above ground; NaN if not stated.
    height_m
        Radiation centre above sea level; NaN if not stated.
    pattern
        Horizontal pattern if the list gives it; a directional antenna without one keeps its largest power everywhere.
    facility
        What joins the rows of one station in its list; empty if nothing does.
    source, dated, line
        The list, its date if it states one, and the line the record came from.
    """

    name: str
    frequency_hz: float
    kind: Kind
    latitude_deg: float
    longitude_deg: float
    erp_horizontal_w: float
    erp_vertical_w: float
    antenna_height_m: float = NOT_STATED
    height_m: float = NOT_STATED
    directional: bool = False
    pattern: Pattern | None = None
    place: str = ""
    country: str = ""
    status: Status = "licensed"
    rds_pi: str = ""
    facility: str = ""
    source: str = ""
    dated: str = ""
    line: int = 0

    @property
    def erp_w(self) -> float:
        """Power of both polarisations together."""
        return self.erp_horizontal_w + self.erp_vertical_w


@dataclass(frozen=True, slots=True)
class Columns:
    """A list of transmitters as arrays of equal length, for whatever is computed over all of them at once."""

    frequency_hz: NDArray[np.float64]
    latitude_deg: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]
    erp_horizontal_w: NDArray[np.float64]
    erp_vertical_w: NDArray[np.float64]
    height_m: NDArray[np.float64]
    antenna_height_m: NDArray[np.float64]
    is_fm: NDArray[np.bool_]


def columns(transmitters: Sequence[Transmitter]) -> Columns:
    """Return the numeric fields of transmitters as arrays."""
    names = [name for name in Columns.__slots__ if name != "is_fm"]
    fields = {name: np.array([getattr(t, name) for t in transmitters], dtype=np.float64) for name in names}
    return Columns(is_fm=np.array([t.kind == "fm" for t in transmitters], dtype=np.bool_), **fields)
