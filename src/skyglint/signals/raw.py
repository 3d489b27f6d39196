"""Raw samples in a file without a header: the user says how they are written, their rate, centre and start."""

from __future__ import annotations

from pathlib import Path

from skyglint.signals.band import tuning_keys
from skyglint.signals.encodings import ENCODINGS, EXTENSIONS, encoding_named
from skyglint.signals.layout import Layout
from skyglint.signals.options import SourceOptions, needed, require, settled
from skyglint.signals.recording import Recording, open_for_reading
from skyglint.signals.span import Span, open_span


def open_raw(path: Path, options: SourceOptions) -> Recording:
    """Open a raw file; its extension states the encoding where it is one of those that do (``.cu8``, ``.cf32``...).

    Raises
    ------
    RequestError
        If the file is missing or may not be read, or an option is missing.
    SourceError
        If it holds no samples.
    """
    with open_for_reading(path) as file:
        n_bytes = file.seek(0, 2)
    layout, rate_hz = raw_layout(EXTENSIONS.get(path.suffix.lower()), options, str(path))
    return open_span(path, Span(layout, 0, n_bytes, n_bytes, rate_hz), options)


def raw_layout(stated: str | None, options: SourceOptions, where: str) -> tuple[Layout, float]:
    """Return how raw samples are written and their rate; everything that the user must say is asked for at once.

    Parameters
    ----------
    stated
        Encoding that the name states, where it does.

    Raises
    ------
    RequestError
        If an option is missing or contradicts the name.
    """
    name = stated or options.encoding
    encoding = encoding_named(name) if name else None
    keys = ["sample_rate_hz", *tuning_keys(encoding or ENCODINGS["cu8"])]
    require(options, keys if encoding else ["encoding", *keys], where)
    encoding = encoding_named(settled("the extension", stated, options.encoding, "encoding", where))
    return Layout.plain(encoding), needed(options.sample_rate_hz, "sample_rate_hz", where)
