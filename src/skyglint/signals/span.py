"""One unbroken run of samples in a file: what raw files and WAV files have in common."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from skyglint.errors import SourceError
from skyglint.signals.band import said
from skyglint.signals.block import Gap, SourceInfo
from skyglint.signals.captures import CUT_OFF, INCOMPLETE
from skyglint.signals.layout import Layout
from skyglint.signals.options import SourceOptions
from skyglint.signals.recording import Extent, Recording, Stretch, fingerprint


@dataclass(frozen=True, slots=True)
class Span:
    """The samples of a file, without what they mean.

    Attributes
    ----------
    layout
        How they are written.
    byte_offset, n_bytes
        Where they stand.
    stated_bytes
        How many bytes there should be; no less than there are.
    sample_rate_hz
        Their rate.
    """

    layout: Layout
    byte_offset: int
    n_bytes: int
    stated_bytes: int
    sample_rate_hz: float


def open_span(path: Path, span: Span, options: SourceOptions, start_hint: str = "") -> Recording:
    """Return the recording of one run of samples whose centre (or dial) and start the user states.

    Parameters
    ----------
    start_hint
        What the file says of its start that is not enough, for the message.

    Raises
    ------
    RequestError
        If an option is missing, or does not go with such samples.
    SourceError
        If there are no samples.
    """
    where, rate_hz = str(path), span.sample_rate_hz
    band, start_unix = said(span.layout.encoding, rate_hz, options, where + start_hint)
    n_samples, rest = divmod(span.n_bytes, span.layout.stored_bytes)
    if not n_samples:
        raise SourceError(f"{where}: holds no samples")
    end_unix = stated_end_unix = start_unix + n_samples / rate_hz
    parts: list[Stretch | Gap] = [Stretch(start_unix, band.center_hz, (Extent(span.byte_offset, n_samples),))]
    stated_samples = span.stated_bytes // span.layout.stored_bytes
    if stated_samples > n_samples:
        stated_end_unix = start_unix + stated_samples / rate_hz
        parts.append(Gap(end_unix, stated_end_unix, CUT_OFF))
    elif rest:
        parts.append(Gap(end_unix, end_unix + 1 / rate_hz, INCOMPLETE))
    facts = {
        "encoding": span.layout.encoding.name,
        "sample_rate_hz": rate_hz,
        "center_frequency_hz": band.center_hz,
        "start_unix": start_unix,
        "sideband": options.sideband,
    }
    info = SourceInfo(
        name=path.name,
        fingerprint=fingerprint(path, span.byte_offset, span.n_bytes, facts),
        encoding=span.layout.encoding.name,
        sample_rate_hz=rate_hz,
        center_frequency_hz=band.center_hz,
        start_unix=start_unix,
        end_unix=stated_end_unix,
        band_low_hz=band.low_hz,
        band_high_hz=band.high_hz,
    )
    return Recording(path, info, span.layout, parts)
