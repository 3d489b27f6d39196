"""The chain for one source: blocks and gaps in, findings and coverage out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from skyglint.dsp.bank import FilterBank
from skyglint.dsp.frames import FrameBlock
from skyglint.dsp.geometry import BankGeometry
from skyglint.dsp.kernels import Kernels
from skyglint.echoes.detector import Detector
from skyglint.echoes.echo import Echo, Findings
from skyglint.echoes.settings import DetectionSettings
from skyglint.echoes.spacecraft import Expectations
from skyglint.signals.block import Block, Gap
from skyglint.site import Channel, SitePlace
from skyglint.station.recent import Recent, Samples
from skyglint.station.who import Identifier
from skyglint.store.records import CoverageSpan


@dataclass(frozen=True, slots=True)
class Heard:
    """What one step of the chain yields.

    Attributes
    ----------
    channels
        Names of the channels of the findings, in the order of their rows.
    findings
        What has become certain, in order of time.
    coverage
        Spans watched or lost that have become certain.
    """

    channels: tuple[str, ...] = ()
    findings: tuple[Findings, ...] = ()
    coverage: tuple[CoverageSpan, ...] = ()


class Chain:
    """Filter bank and detector for all channels of a site, through gaps, retunings and changes of rate.

    Coverage is true to the frame: a channel counts as watched from the first to the last frame that was searched.

    Parameters
    ----------
    channels
        The site's channels; those outside the band of a stretch are lost for it, and coverage says so.
    correction_ppm
        How much faster than stated the receiver's clock runs.
    band_hz
        Radio frequencies that the source can show where that is less than its span (audio in single sideband).
    settings
        Of the detector.
    kernels
        Inner loops of the filter bank.
    on_frames
        Told each block of frames before it is searched, with the names of its channels: for live pictures.
    place
        Where the observer is; with a transmitter's place it gives heights.
    patience_s
        How long frames may wait before they are searched together; longer is cheaper.
    expected
        Gives the curves of spacecraft that are expected in a channel.
    names_echoes
        Whether echoes come with what their samples say of their station; else whoever takes them calls ``name``.

    Attributes
    ----------
    samples, clipped
        Samples read so far, and how many of them lay at the converter's rails.
    recent
        Where the samples of closed echoes are had; the last few seconds unless replaced.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        correction_ppm: float = 0.0,
        band_hz: tuple[float, float] | None = None,
        settings: DetectionSettings | None = None,
        kernels: Kernels | None = None,
        on_frames: Callable[[tuple[str, ...], FrameBlock], None] | None = None,
        place: SitePlace | None = None,
        patience_s: float = 1.0,
        expected: Expectations | None = None,
        names_echoes: bool = True,
    ) -> None:
        self._channels = tuple(channels)
        self._references = {channel.name for channel in channels if channel.role == "reference"}
        self._identifier = Identifier(channels, correction_ppm)
        self._on_frames = on_frames
        self._place, self._patience_s, self._names_echoes = place, patience_s, names_echoes
        self._expected = expected
        self.recent: Samples = Recent(correction_ppm=correction_ppm)
        self._bank = FilterBank(channels, correction_ppm, band_hz, kernels)
        self._settings = settings or DetectionSettings()
        self._geometry: BankGeometry | None = None
        self._detector: Detector | None = None
        self._inside: tuple[int, ...] = ()
        self._names: tuple[str, ...] = ()
        self._outside: list[str] = []
        self._stretch: int | None = None
        self._accounted_unix: float | None = None
        self.samples = 0
        self.clipped = 0.0

    def process(self, item: Block | Gap) -> list[Heard]:
        """Take in the next block or gap of the source."""
        if isinstance(item, Gap):
            return [*self.finish(), self._lost(item)]
        heard = []
        if item.stretch != self._stretch:
            heard = self.finish()
            self._stretch = item.stretch
            if self._accounted_unix is None:
                self._accounted_unix = item.start_unix
        self.samples += item.n_samples
        self.recent.add(item)
        frames = self._bank.process(item)
        if frames is not None:
            self.clipped += float(frames.clipped.mean()) * item.n_samples
            heard.append(self._search(frames))
        return heard

    def finish(self) -> list[Heard]:
        """Return what is left at the end of a stretch or of the source."""
        self._stretch = None
        if self._detector is None:
            return []
        return [Heard(self._names, self._with_names(self._detector.finish()))]

    def name(self, echo: Echo) -> Echo:
        """Return an echo with what its samples say of its station, as long as they are held."""
        return self._identifier.identify(echo, self.recent)

    def _search(self, frames: FrameBlock) -> Heard:
        if self._bank.geometry is not self._geometry:
            self._lay_out(frames)
        findings: tuple[Findings, ...] = ()
        if self._detector is not None:
            inside = _only(frames, self._inside)
            if self._on_frames is not None:
                self._on_frames(self._names, inside)
            findings = self._with_names(self._detector.process(inside))
        start = frames.start_unix if self._accounted_unix is None else self._accounted_unix
        self._accounted_unix = frames.end_unix
        end = frames.end_unix
        watched = [CoverageSpan(name, start, end, "watched") for name in self._names]
        outside = [CoverageSpan(name, start, end, "lost", self._outside_reason) for name in self._outside]
        return Heard(self._names, findings, (*watched, *outside))

    def _with_names(self, findings: Sequence[Findings]) -> tuple[Findings, ...]:
        """Return the findings with each echo's station; a reference is a yardstick, not a place to look for echoes."""
        name = self.name if self._names_echoes else _as_it_is
        return tuple(
            replace(found, echoes=tuple(name(echo) for echo in found.echoes if echo.channel not in self._references))
            if found.echoes
            else found
            for found in findings
        )

    def _lay_out(self, frames: FrameBlock) -> None:
        """Prepare the detector for a new layout of channels; the old one has ended with its stretch."""
        geometry = self._bank.geometry
        assert geometry is not None  # the bank has just made frames
        self._geometry = geometry
        grids = {place: grid for place, grid in enumerate(geometry.grids) if grid is not None}
        inside = [self._channels[place] for place in grids]
        self._inside, self._names = tuple(grids), tuple(channel.name for channel in inside)
        self._outside = [channel.name for channel in self._channels if channel.name not in self._names]
        half_mhz, center_mhz = geometry.sample_rate_hz / 2e6, geometry.center_frequency_hz / 1e6
        self._outside_reason = (
            f"outside the recorded band ({center_mhz - half_mhz:.3f} to {center_mhz + half_mhz:.3f} MHz)"
        )
        self._detector = (
            Detector(
                inside,
                list(grids.values()),
                frames.frame_s,
                self._settings,
                self._place,
                patience_s=self._patience_s,
                expected=self._expected,
            )
            if grids
            else None
        )

    def _lost(self, gap: Gap) -> Heard:
        start = gap.start_unix if self._accounted_unix is None else min(self._accounted_unix, gap.start_unix)
        self._accounted_unix = gap.end_unix
        return Heard(
            coverage=tuple(
                CoverageSpan(channel.name, start, gap.end_unix, "lost", gap.reason) for channel in self._channels
            )
        )


def _as_it_is(echo: Echo) -> Echo:
    return echo


def _only(frames: FrameBlock, places: Sequence[int]) -> FrameBlock:
    """Return the frames of some of the channels."""
    return FrameBlock(
        stretch=frames.stretch,
        start_unix=frames.start_unix,
        first_frame=frames.first_frame,
        frame_s=frames.frame_s,
        spectra=tuple(frames.spectra[place] for place in places),
        basebands=tuple(frames.basebands[place] for place in places),
        baseband_rate_hz=frames.baseband_rate_hz,
        clipped=frames.clipped,
        level=frames.level,
    )
