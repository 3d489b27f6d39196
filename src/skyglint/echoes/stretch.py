"""One unbroken stretch of frames, searched from its first frame to its last."""

from __future__ import annotations

import dataclasses

import numpy as np

from skyglint.dsp.frames import FrameBlock
from skyglint.echoes.carrier_meter import CarrierMeter
from skyglint.echoes.carrier_search import CarrierSearch, ClosedTone
from skyglint.echoes.company import Surroundings
from skyglint.echoes.echo import Echo, Findings
from skyglint.echoes.fm_meter import FmMeter
from skyglint.echoes.fm_search import STEPS_PER_LESSON, Closed, FmSearch
from skyglint.echoes.plan import SearchPlan


class Stretch:
    """Search state of one stretch.

    Parameters
    ----------
    plan
        Channels, grids, settings.
    frames
        The first frames, up to the end of the warm-up; they are searched later, by `read`.
    after_gap
        Whether samples are missing before it; else it is where the watch begins.
    """

    def __init__(self, plan: SearchPlan, frames: FrameBlock, after_gap: bool = False) -> None:
        self._plan, self._after_gap = plan, after_gap
        self._start_unix, self._frames_read = frames.start_unix, 0
        self._reference = np.array([channel.role == "reference" for channel in plan.channels])
        self._carrier_samples = np.array([grid.samples_per_frame * grid.usable.sum() for grid in plan.grids])
        self._fm: tuple[FmSearch, FmMeter] | None = None
        self._carrier: tuple[CarrierSearch, CarrierMeter] | None = None
        fm, self._fm_places = plan.part("fm")
        carrier, self._carrier_places = plan.part("carrier")
        self._surroundings = Surroundings(plan.channels, plan.frames(2.0 * plan.settings.longest_echo_s))
        if fm.channels:
            search = FmSearch(fm, _only(frames, self._fm_places))
            self._fm = search, FmMeter(fm, search, frames.start_unix, self._surroundings, self._fm_places)
        if carrier.channels:
            tones = CarrierSearch(carrier, _only(frames, self._carrier_places))
            meter = CarrierMeter(carrier, tones, frames.start_unix, self._surroundings, self._carrier_places)
            self._carrier = tones, meter

    @property
    def steps_to_read(self) -> int:
        """Steps that may be read in one go."""
        return self._fm[0].steps_to_read if self._fm else STEPS_PER_LESSON

    def read(self, frames: FrameBlock) -> Findings:
        """Search whole steps, or the last part of one at the end of the stretch."""
        n_steps = max(frames.n_frames // self._plan.frames_per_step, 1)
        floor = np.empty((len(self._plan.channels), frames.n_frames), dtype=np.float32)
        excess = np.empty_like(floor)
        around, samples = np.empty(excess.shape), self._carrier_samples.copy()
        closed: list[Closed] = []
        over: list[ClosedTone] = []
        if self._fm:
            search, places = self._fm[0], list(self._fm_places)
            readings, closed = search.read(_only(frames, self._fm_places), n_steps)
            floor[places], excess[places] = readings.floor, readings.power_excess
            # A reference is all signal: its plain power stands still, its weighted power moves with the programme.
            around[places] = np.where(self._reference[places, None], readings.power_excess, readings.excess)
            samples[places] = [weighting.samples_per_frame for weighting in search.lanes.weightings]
        if self._carrier:
            places = list(self._carrier_places)
            levels, over = self._carrier[0].read(_only(frames, self._carrier_places), n_steps)
            floor[places], excess[places], around[places] = levels.floor, levels.excess, levels.band_excess
        # All channels first: a burst is judged by what every other one did.
        self._surroundings.append(around, samples)
        echoes = [self._fm[1].measure(item) for item in closed] if self._fm else []
        echoes += [self._carrier[1].measure(tone) for tone in over] if self._carrier else []
        self._frames_read += frames.n_frames
        echoes = [self._with_ends_named(echo) for echo in echoes]
        return Findings(frames.start_unix, frames.frame_s, floor, excess, _in_order(echoes))

    def end(self, before_gap: bool = False) -> Findings:
        """Close what is still open; the stretch ends here, at missing samples or where the watch ends."""
        echoes: list[Echo] = []
        if self._fm:
            echoes += [self._fm[1].measure(item, ending=True) for item in self._fm[0].end()]
        if self._carrier:
            echoes += [self._carrier[1].measure(item, ending=True) for item in self._carrier[0].end()]
        nothing = np.zeros((len(self._plan.channels), 0), dtype=np.float32)
        end_unix = self._start_unix + self._frames_read * self._plan.frame_s
        echoes = [self._with_ends_named(echo, before_gap) for echo in echoes]
        return Findings(end_unix, self._plan.frame_s, nothing, nothing, _in_order(echoes))

    def _with_ends_named(self, echo: Echo, before_gap: bool = False) -> Echo:
        """Return an echo with the flag ``edge`` instead of ``gap`` where it is the watch itself that begins or ends.

        The meters flag ``gap`` where a burst touches either end of the stretch.
        """
        if "gap" not in echo.flags:
            return echo
        starts = echo.start_unix <= self._start_unix + 2.5 * self._plan.frame_s
        end_unix = self._start_unix + self._frames_read * self._plan.frame_s
        ends = echo.end_unix >= end_unix - 2.5 * self._plan.frame_s
        missing = [gap for touches, gap in ((starts, self._after_gap), (ends, before_gap)) if touches]
        named = {"gap" if gap else "edge" for gap in missing}
        return dataclasses.replace(echo, flags=tuple(sorted({*echo.flags} - {"gap"} | named)))


def _in_order(echoes: list[Echo]) -> tuple[Echo, ...]:
    return tuple(sorted(echoes, key=lambda echo: echo.start_unix))


def _only(frames: FrameBlock, places: tuple[int, ...]) -> FrameBlock:
    """Return the frames of some of the channels."""
    return dataclasses.replace(
        frames,
        spectra=tuple(frames.spectra[place] for place in places),
        basebands=tuple(frames.basebands[place] for place in places),
    )
