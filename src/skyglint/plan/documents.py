"""The plan for machines: one JSON document and one CSV table, with the keys that other programs rely on."""

from __future__ import annotations

import csv
import io
import math
from typing import Any, Final

from skyglint.plan.candidate import Candidate
from skyglint.plan.planning import Plan
from skyglint.plan.proposal import Proposal
from skyglint.plan.rows import best_row_bearing, row

#: The columns of the CSV table and, without ``reasons`` and ``echoes_per_h``, numbers of the JSON candidates.
CSV_COLUMNS: Final = (
    "name", "frequency_hz", "kind", "distance_km", "bearing_deg", "hidden_m", "hidden_geometric_m",
    "free_space_loss_db", "diffraction_loss_db", "troposcatter_loss_db", "direct_snr_db", "direct_snr_10_percent_db",
    "direct_snr_1_percent_db", "verdict", "azimuth_deg", "elevation_deg", "share_of_echoes", "floor_rise_db",
    "echoes_per_h", "score", "reasons",
)  # fmt: skip


def plan_document(plan: Plan, proposal: Proposal | None, row_bearing_deg: float | None = None) -> dict[str, Any]:
    """Return the plan as plain values; what is not known is None. The row is the richest unless a bearing is given."""
    return {
        "site": plan.site.site.name,
        "transmitters_within_reach": len(plan.survey.transmitters),
        "radius_km": plan.settings.radius_km,
        "environment": plan.settings.environment,
        "month": plan.settings.month,
        "accuracy": "echoes_per_h is good to a factor of about three; comparisons between transmitters are better",
        "candidates": [_candidate(one) for one in plan.candidates],
        "proposal": None if proposal is None else _proposal(proposal),
        "row": _row(plan, best_row_bearing(plan.candidates) if row_bearing_deg is None else row_bearing_deg),
    }


def plan_csv(plan: Plan) -> str:
    """Return the candidates as CSV; ``echoes_per_h`` is the mean over the day."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for one in plan.candidates:
        values = _candidate(one)
        values["echoes_per_h"] = _number(float(one.echoes_per_h.mean()), 2)
        values["reasons"] = "; ".join(one.reasons)
        writer.writerow(["" if values[key] is None else values[key] for key in CSV_COLUMNS])
    return text.getvalue()


def _candidate(one: Candidate) -> dict[str, Any]:
    return {
        "name": one.name,
        "frequency_hz": one.frequency_hz,
        "kind": one.kind,
        "distance_km": _number(one.distance_km, 3),
        "bearing_deg": _number(one.bearing_deg, 3),
        "hidden_m": _number(one.hidden_m, 1),
        "hidden_geometric_m": _number(one.hidden_geometric_m, 1),
        "free_space_loss_db": _number(one.free_space_loss_db, 2),
        "diffraction_loss_db": _number(one.diffraction_loss_db, 2),
        "troposcatter_loss_db": _number(one.troposcatter_loss_db, 2),
        "direct_snr_db": _number(one.direct_snr_db, 1),
        "direct_snr_10_percent_db": _number(one.direct_snr_10_db, 1),
        "direct_snr_1_percent_db": _number(one.direct_snr_1_db, 1),
        "verdict": one.verdict,
        "azimuth_deg": _number(one.aim.azimuth_deg, 1),
        "elevation_deg": _number(one.aim.elevation_deg, 1),
        "share_of_echoes": _number(one.share_of_echoes, 4),
        "floor_rise_db": _number(one.floor_rise_db, 1),
        "echoes_per_h": [_number(float(rate), 2) for rate in one.echoes_per_h],
        "echoes_per_h_by_month": [[_number(float(rate), 2) for rate in month] for month in one.by_month],
        "score": _number(one.score, 1),
        "reasons": list(one.reasons),
        "latitude_deg": one.transmitter.latitude_deg,
        "longitude_deg": one.transmitter.longitude_deg,
        "power_w": one.transmitter.erp_w,
        "height_m": _number(one.height_m, 1),
        "source": one.transmitter.source,
        "neighbours": [
            {
                "name": other.name,
                "offset_hz": other.offset_hz,
                "distance_km": _number(other.distance_km, 1),
                "bearing_deg": _number(other.bearing_deg, 1),
                "direct_snr_db": _number(other.direct_snr_db, 1),
                "protection_ratio_db": _number(other.asked_db, 0),
                "echoes_per_h": _number(other.echoes_per_h, 2),
            }
            for other in one.neighbours
        ],
        "common_layer": {
            "area_km2": _number(one.layer.area_km2, 0),
            "azimuth_low_deg": _turned(one, one.layer.azimuth_low_deg),
            "azimuth_high_deg": _turned(one, one.layer.azimuth_high_deg),
            "elevation_low_deg": _number(one.layer.elevation_low_deg, 1),
            "elevation_high_deg": _number(one.layer.elevation_high_deg, 1),
            "range_km": _number(one.layer.range_km, 1),
            "gain_dbi": _number(one.layer.gain_dbi, 1),
            "free_space_losses_db": _number(one.layer.scatter_loss_db, 1),
        },
    }


def _proposal(proposal: Proposal) -> dict[str, Any]:
    return {
        "azimuth_deg": proposal.aim.azimuth_deg,
        "elevation_deg": proposal.aim.elevation_deg,
        "center_frequency_hz": proposal.center_frequency_hz,
        "echoes_per_h": _number(proposal.echoes_per_h, 2),
        "channels": [
            {
                "part": channel.part,
                "kind": channel.kind,
                "frequency_hz": channel.frequency_hz,
                "name": None if channel.transmitter is None else channel.transmitter.name,
                "reason": channel.reason,
            }
            for channel in proposal.channels
        ],
        "warnings": list(proposal.warnings),
    }


def _row(plan: Plan, bearing: float) -> dict[str, Any]:
    return {
        "bearing_deg": _number(bearing, 1),
        "members": [
            {
                "name": member.candidate.name,
                "near_km": _number(member.near_km, 0),
                "far_km": _number(member.far_km, 0),
                "gap_km": _number(member.gap_km, 0),
            }
            for member in row(plan, bearing)
        ],
    }


def _turned(one: Candidate, offset_deg: float) -> float | None:
    return None if math.isnan(offset_deg) else _number((one.bearing_deg + offset_deg) % 360, 1)


def _number(value: float, decimals: int) -> float | None:
    return round(value, decimals) if math.isfinite(value) else None
