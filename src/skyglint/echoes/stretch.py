"""One unbroken stretch of frames, searched from its first frame to its last."""

from __future__ import annotations

import numpy as np

from skyglint.dsp.frames import FrameBlock
from skyglint.echoes.echo import Findings
from skyglint.echoes.fm_meter import FmMeter
from skyglint.echoes.fm_search import FmSearch
from skyglint.echoes.plan import SearchPlan


class Stretch:
    """Search state of one stretch.

    Parameters
    ----------
    plan
        Channels, grids, settings.
    frames
        The first frames, up to the end of the warm-up; they are searched later, by `read`.
    """

    def __init__(self, plan: SearchPlan, frames: FrameBlock) -> None:
        self._plan = plan
        self._start_unix, self._frames_read = frames.start_unix, 0
        per_step = min(plan.frames_per_step, frames.n_frames)
        n_steps = frames.n_frames // per_step
        warm_up = [power[: n_steps * per_step].reshape(n_steps, per_step, -1) for power in frames.spectra]
        self._search = FmSearch(plan, warm_up)
        self._meter = FmMeter(plan, self._search, frames.start_unix)

    @property
    def steps_to_read(self) -> int:
        """Steps that may be read in one go."""
        return self._search.steps_to_read

    def read(self, frames: FrameBlock) -> Findings:
        """Search whole steps, or the last part of one at the end of the stretch."""
        n_steps = max(frames.n_frames // self._plan.frames_per_step, 1)
        readings, closed = self._search.read(frames, n_steps)
        echoes = [self._meter.measure(item) for item in closed]
        self._frames_read += frames.n_frames
        return Findings(
            frames.start_unix,
            frames.frame_s,
            readings.floor.astype(np.float32),
            readings.power_excess.astype(np.float32),
            tuple(sorted(echoes, key=lambda echo: echo.start_unix)),
        )

    def end(self) -> Findings:
        """Close what is still open; the stretch ends here."""
        echoes = [self._meter.measure(item, ending=True) for item in self._search.end()]
        nothing = np.zeros((len(self._plan.channels), 0), dtype=np.float32)
        return Findings(
            self._start_unix + self._frames_read * self._plan.frame_s,
            self._plan.frame_s,
            nothing,
            nothing,
            tuple(sorted(echoes, key=lambda echo: echo.start_unix)),
        )
