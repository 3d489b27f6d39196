"""What stays the same from stretch to stretch: channels, grids, frame length, settings, and the paths' geometry."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.floor import STEP_S
from skyglint.dsp.frames import ChannelGrid
from skyglint.echoes.echo import NAN
from skyglint.echoes.settings import DetectionSettings
from skyglint.echoes.spacecraft import Expectations, ExpectedCurve
from skyglint.echoes.weights import programme_spectrum
from skyglint.site import Channel, Kind, SitePlace

#: Height of the layer where trails form, for the geometry of a path.
LAYER_KM = 95.0


@dataclass(frozen=True, slots=True)
class SearchPlan:
    """Channels of one kind, in their order, and all that does not change.

    Attributes
    ----------
    channels, grids
        One of each for every channel.
    spectra
        Mean spectrum of each channel's transmitter over its grid (sums to 1).
    phi_deg
        Half the angle between the rays at a trail over the middle of each path; NaN where a place is not known.
    frame_s, frames_per_step
        Length of a frame, and frames in one step of the floor.
    settings
        What the operator set.
    expected
        Gives the curves of spacecraft that are expected in a channel.
    """

    channels: tuple[Channel, ...]
    grids: tuple[ChannelGrid, ...]
    spectra: tuple[NDArray[np.float64], ...]
    phi_deg: tuple[float, ...]
    frame_s: float
    frames_per_step: int
    settings: DetectionSettings
    expected: Expectations

    @property
    def guard(self) -> NDArray[np.bool_]:
        """Which channels are guards, shape (n_channels,)."""
        return np.array([channel.role == "guard" for channel in self.channels], dtype=bool)

    def part(self, kind: Kind) -> tuple[SearchPlan, tuple[int, ...]]:
        """Return the plan of the channels of one kind, and their numbers among all."""
        places = tuple(place for place, channel in enumerate(self.channels) if channel.kind == kind)
        chosen = dataclasses.replace(
            self,
            channels=tuple(self.channels[place] for place in places),
            grids=tuple(self.grids[place] for place in places),
            spectra=tuple(self.spectra[place] for place in places),
            phi_deg=tuple(self.phi_deg[place] for place in places),
        )
        return chosen, places

    def frames(self, seconds: float) -> int:
        """Return the number of frames nearest to a time."""
        return round(seconds / self.frame_s)


def search_plan(
    channels: Sequence[Channel],
    grids: Sequence[ChannelGrid],
    frame_s: float,
    settings: DetectionSettings,
    place: SitePlace | None,
    expected: Expectations | None = None,
) -> SearchPlan:
    """Return the plan for some channels; ``place`` is the observer's, ``expected`` gives spacecraft, where known."""
    return SearchPlan(
        tuple(channels),
        tuple(grids),
        tuple(programme_spectrum(grid.offsets_hz) for grid in grids),
        tuple(_phi_deg(channel, place) for channel in channels),
        frame_s,
        max(round(STEP_S / frame_s), 1),
        settings,
        expected or _nothing_expected,
    )


def _nothing_expected(channel: str, start_unix: float, end_unix: float) -> tuple[ExpectedCurve, ...]:
    return ()


def _phi_deg(channel: Channel, place: SitePlace | None) -> float:
    if place is None or channel.latitude_deg is None or channel.longitude_deg is None:
        return NAN
    from skyglint.path.geodesy import geodesic
    from skyglint.path.geometry import midpoint_geometry

    path = geodesic(channel.latitude_deg, channel.longitude_deg, place.latitude_deg, place.longitude_deg)
    _, _, phi_deg = midpoint_geometry(path.distance_m, LAYER_KM * 1e3)
    return float(phi_deg)
