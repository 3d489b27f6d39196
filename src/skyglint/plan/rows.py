"""A row: targets along one bearing at different distances, the parts of the layer that they light, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from skyglint.plan.aiming import layer_gain_dbi
from skyglint.plan.candidate import Candidate
from skyglint.plan.planning import Plan

#: Bearings this near to each other are one row (working assumption).
TOLERANCE_DEG: Final = 15.0

#: Part of the best score below which a candidate is no member of a row.
_USEFUL: Final = 0.02


@dataclass(frozen=True, slots=True)
class RowMember:
    """One target of a row.

    Attributes
    ----------
    candidate
        Which.
    near_km, far_km
        Distance along the ground, from the site, below the stretch of the layer that gives the middle half of its
        echoes.
    gap_km
        From the far end of the member before it; negative where the stretches overlap, NaN for the first.
    """

    candidate: Candidate
    near_km: float
    far_km: float
    gap_km: float


def row(plan: Plan, bearing_deg: float) -> tuple[RowMember, ...]:
    """Return the useful candidates on a bearing, nearest stretch first."""
    least = _USEFUL * max((one.score for one in plan.candidates), default=0.0)
    along = [
        one
        for one in plan.candidates
        if one.score > least and one.path.cell.size and _aside(one.bearing_deg, bearing_deg) <= TOLERANCE_DEG
    ]
    stretches = sorted(((*_stretch_km(plan, one), one) for one in along), key=lambda s: (s[0] + s[1], s[2].distance_km))
    members: list[RowMember] = []
    for near, far, one in stretches:
        gap = near - members[-1].far_km if members else float("nan")
        members.append(RowMember(one, near, far, gap))
    return tuple(members)


def best_row_bearing(candidates: Sequence[Candidate]) -> float:
    """Return the bearing along which the scores add up to most."""
    useful = [one for one in candidates if one.score > 0]
    if not useful:
        return 0.0

    def worth(bearing_deg: float) -> float:
        return sum(one.score for one in useful if _aside(one.bearing_deg, bearing_deg) <= TOLERANCE_DEG)

    return max((one.bearing_deg for one in useful), key=worth)


def _aside(bearing1_deg: float, bearing2_deg: float) -> float:
    return abs((bearing1_deg - bearing2_deg + 180) % 360 - 180)


def _stretch_km(plan: Plan, one: Candidate) -> tuple[float, float]:
    counts = one.path.at(layer_gain_dbi(plan.layer, plan.site.antenna, one.frequency_hz, one.aim))
    cell = one.path.cell
    turned = np.radians(plan.layer.azimuth_deg[cell] - one.bearing_deg)
    along_km = plan.layer.distance_m[cell] / 1e3 * np.cos(turned)
    order = np.argsort(along_km)
    summed = np.cumsum(counts[order]) / counts.sum()
    low, high = np.searchsorted(summed, [0.25, 0.75])
    return float(along_km[order[low]]), float(along_km[order[min(high, order.size - 1)]])
