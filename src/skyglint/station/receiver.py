"""The receiver or recording that a site file names, opened."""

from __future__ import annotations

from pathlib import Path

from skyglint.signals.block import Source
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source
from skyglint.site import Site


def receiver_of(site: Site, folder: Path, gain_db: float | None = None) -> Source:
    """Open the site's receiver or recording.

    Parameters
    ----------
    site, folder
        The site, and the folder that a recording's path starts from.
    gain_db
        Gain to set; ``None`` takes the site file's (or the receiver's own control where that says ``auto``).

    Raises
    ------
    RequestError
        If the address cannot be one.
    SourceError
        If it cannot be opened.
    """
    receiver = site.receiver
    if "://" not in receiver.source and receiver.source != "-":
        return open_source(folder / receiver.source)
    if gain_db is None and receiver.gain_db != "auto":
        gain_db = float(receiver.gain_db)
    options = SourceOptions(
        encoding="cu8" if receiver.source == "-" else None,
        sample_rate_hz=receiver.sample_rate_hz,
        center_frequency_hz=receiver.center_frequency_hz,
        gain_db=gain_db,
        correction_ppm=receiver.correction_ppm,
    )
    return open_source(receiver.source, options)
