"""The height of an underdense echo from its decay time, where the path is known."""

from __future__ import annotations

import numpy as np

from skyglint.echoes.echo import NAN
from skyglint.echoes.plan import SearchPlan


def echo_height_km(plan: SearchPlan, channel: int, decay_s: float, decay_sd_s: float) -> tuple[float, float]:
    """Return height and standard error for a trail over the middle of the path; NaN where a place is not known."""
    phi_deg = plan.phi_deg[channel]
    if np.isnan(phi_deg):
        return NAN, NAN
    from skyglint.path.trails import height_from_decay_km

    height, error = height_from_decay_km(decay_s, plan.channels[channel].frequency_hz, phi_deg, decay_sd_s)
    return float(height), float(error)
