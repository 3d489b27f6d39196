"""The streaming detector: frames in, echoes out, the same for any cutting of the stream."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from skyglint.dsp.floor import STEP_S
from skyglint.dsp.frames import ChannelGrid, FrameBlock
from skyglint.echoes.echo import Findings
from skyglint.echoes.plan import search_plan
from skyglint.echoes.settings import DetectionSettings
from skyglint.echoes.spacecraft import Expectations
from skyglint.echoes.stretch import Stretch
from skyglint.site import Channel, SitePlace


class Detector:
    """Finds and measures the echoes of all channels.

    Parameters
    ----------
    channels, grids
        The channels and their frequency grids, in the order of the frames' spectra.
    frame_s
        Length of a frame.
    settings
        What the operator set.
    place
        Where the observer is; with a transmitter's place it gives heights.
    patience_s
        How long frames may wait before they are searched together. Longer is cheaper, and the findings come later; they
        are the same.
    expected
        Gives the curves of spacecraft that are expected in a channel between two times.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        grids: Sequence[ChannelGrid],
        frame_s: float,
        settings: DetectionSettings | None = None,
        place: SitePlace | None = None,
        patience_s: float = STEP_S,
        expected: Expectations | None = None,
    ) -> None:
        settings = settings or DetectionSettings()
        self._plan = search_plan(channels, grids, frame_s, settings, place, expected)
        self._enough = max(round(patience_s / STEP_S), 1) * self._plan.frames_per_step
        self._warm_up = max(round(settings.warm_up_s / STEP_S), 1) * self._plan.frames_per_step
        self.reset()

    def reset(self) -> None:
        """Forget everything heard so far."""
        self._pending: list[FrameBlock] = []
        self._stretch: Stretch | None = None
        self._number: int | None = None
        self._next = 0
        self._after_gap = False

    def process(self, frames: FrameBlock) -> list[Findings]:
        """Take in a block of frames; return what has become certain, in order of time, each frame exactly once."""
        findings = []
        if (frames.stretch, frames.first_frame) != (self._number, self._next):
            after_gap = self._number is not None
            findings = self._end(before_gap=after_gap)
            self._number, self._after_gap = frames.stretch, after_gap
        self._next = frames.first_frame + frames.n_frames
        self._pending.append(frames)
        return findings + self._advance()

    def finish(self) -> list[Findings]:
        """Return all that is left; the stream has ended here."""
        return self._end(before_gap=False)

    def _end(self, before_gap: bool) -> list[Findings]:
        findings = self._advance(final=True)
        if self._stretch:
            findings.append(self._stretch.end(before_gap))
        self.reset()
        return findings

    def _advance(self, final: bool = False) -> list[Findings]:
        waiting = sum(block.n_frames for block in self._pending)
        enough = self._enough if self._stretch else self._warm_up
        findings: list[Findings] = []
        if waiting >= enough or (final and waiting):
            findings = self._read(_joined(self._pending), final)
        return findings

    def _read(self, frames: FrameBlock, final: bool) -> list[Findings]:
        per_step = self._plan.frames_per_step
        if self._stretch is None:
            self._stretch = Stretch(self._plan, _part(frames, 0, min(frames.n_frames, self._warm_up)), self._after_gap)
        whole = frames.n_frames // per_step * per_step
        findings, position = [], 0
        while position < whole:
            stop = min(position + self._stretch.steps_to_read * per_step, whole)
            findings.append(self._stretch.read(_part(frames, position, stop)))
            position = stop
        rest = [_part(frames, whole, frames.n_frames)] if whole < frames.n_frames else []
        if final:
            findings += [self._stretch.read(part) for part in rest]
            rest = []
        self._pending = rest
        return findings


def _part(frames: FrameBlock, start: int, stop: int) -> FrameBlock:
    """Return frames ``start`` to ``stop`` of a block."""
    samples = round(frames.baseband_rate_hz * frames.frame_s)
    return dataclasses.replace(
        frames,
        start_unix=frames.start_unix + start * frames.frame_s,
        first_frame=frames.first_frame + start,
        spectra=tuple(power[start:stop] for power in frames.spectra),
        basebands=tuple(
            None if signal is None else signal[start * samples : stop * samples] for signal in frames.basebands
        ),
        clipped=frames.clipped[start:stop],
        level=frames.level[start:stop],
    )


def _joined(blocks: list[FrameBlock]) -> FrameBlock:
    """Return consecutive blocks as one."""
    if len(blocks) == 1:
        return blocks[0]
    return dataclasses.replace(
        blocks[0],
        spectra=tuple(np.concatenate(parts) for parts in zip(*(block.spectra for block in blocks), strict=True)),
        basebands=tuple(
            None if parts[0] is None else np.concatenate(parts)
            for parts in zip(*(block.basebands for block in blocks), strict=True)
        ),
        clipped=np.concatenate([block.clipped for block in blocks]),
        level=np.concatenate([block.level for block in blocks]),
    )
