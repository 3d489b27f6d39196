"""The same detection over recordings: each scanned whole, into one transaction of the database."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from skyglint.dsp.kernels import Kernels
from skyglint.echoes.settings import DetectionSettings
from skyglint.signals.block import Source
from skyglint.signals.plausible import cell_samples, lose_padding
from skyglint.signals.recording import Recording
from skyglint.site import Site
from skyglint.station.chain import Chain, Heard
from skyglint.station.keeper import Keeper
from skyglint.station.overhead import Overhead
from skyglint.station.recent import Reread
from skyglint.store.store import Store
from skyglint.store.writer import no_tags

#: Block that the chain takes at a time: long enough that its bookkeeping costs nothing, short enough for any cache.
BLOCK_S = 0.5
#: Frames of a recording may wait this long before they are searched: nobody is waiting for them.
PATIENCE_S = 10.0


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a scan of one recording found.

    Attributes
    ----------
    name
        Of the recording.
    start_unix, end_unix
        First sample to the stated end of the last.
    watched_s, lost_s
        Mean over the channels.
    watched_by_channel_s
        Time watched by each: a channel outside the recording's band was not watched at all.
    lost_reasons
        Seconds lost by reason, summed over channels.
    echoes
        Number of echoes by channel and class.
    clipped_share
        Share of samples at the converter's rails.
    """

    name: str
    start_unix: float
    end_unix: float
    watched_s: float
    lost_s: float
    watched_by_channel_s: Mapping[str, float]
    lost_reasons: Mapping[str, float]
    echoes: Mapping[tuple[str, str], int]
    clipped_share: float


def scan_recording(
    source: Source,
    site: Site,
    store: Store,
    run_id: int,
    settings: DetectionSettings | None = None,
    progress: Callable[[float], None] | None = None,
    kernels: Kernels | None = None,
    overhead: Overhead | None = None,
) -> Scanned:
    """Scan one recording into the database, whole or not at all.

    Parameters
    ----------
    source
        The recording.
    site
        Whose channels are looked for.
    store, run_id
        Where the results go.
    settings
        Of the detector.
    progress
        Told the UTC up to which the recording has been read.
    overhead
        The satellites that pass, for the classifier and for tags.

    Raises
    ------
    SourceError
        If the recording cannot be read; nothing is stored then.
    StoreError
        If the results cannot be stored.
    """
    info = source.info
    band = (info.band_low_hz, info.band_high_hz)
    chain = Chain(
        site.channel,
        site.receiver.correction_ppm,
        band,
        settings,
        kernels,
        place=site.site,
        patience_s=PATIENCE_S,
        expected=overhead.curves if overhead else None,
    )
    if isinstance(source, Recording):
        chain.recent = Reread(source, site.receiver.correction_ppm)
    tally = _Tally([channel.name for channel in site.channel])
    with store.recording(run_id, info, site.channel) as writer:
        keeper = Keeper(writer, overhead.tags if overhead else no_tags)
        for item in lose_padding(source.blocks(BLOCK_S), cell_samples(info.sample_rate_hz)):
            for heard in chain.process(item):
                keeper.keep(heard)
                tally.add(heard)
            if progress is not None:
                progress(item.start_unix)
        for heard in chain.finish():
            keeper.keep(heard)
            tally.add(heard)
        keeper.finish()
        clipped_share = chain.clipped / chain.samples if chain.samples else float("nan")
        writer.set_samples(chain.samples, clipped_share)
    return Scanned(
        info.name,
        info.start_unix,
        info.end_unix,
        tally.watched_s,
        tally.lost_s,
        tally.watched_by_channel_s,
        tally.reasons,
        dict(tally.echoes),
        clipped_share,
    )


class _Tally:
    def __init__(self, channels: Sequence[str]) -> None:
        self._n_channels = len(channels)
        self.watched_by_channel_s = dict.fromkeys(channels, 0.0)
        self.watched_s = 0.0
        self.lost_s = 0.0
        self.reasons: dict[str, float] = {}
        self.echoes: Counter[tuple[str, str]] = Counter()

    def add(self, heard: Heard) -> None:
        for span in heard.coverage:
            length = span.end_unix - span.start_unix
            if span.state == "watched":
                self.watched_s += length / self._n_channels
                self.watched_by_channel_s[span.channel] += length
            else:
                self.lost_s += length / self._n_channels
                self.reasons[span.reason] = self.reasons.get(span.reason, 0.0) + length
        for findings in heard.findings:
            self.echoes.update((echo.channel, echo.echo_class) for echo in findings.echoes)
