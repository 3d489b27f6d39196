"""The demo's scan: the packaged site over its own recording."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from skyglint.echoes.settings import DetectionSettings
from skyglint.signals.sources import open_source
from skyglint.site import Site, load_site
from skyglint.station.scan import scan_recording
from skyglint.store.store import Store


def scan_demo(
    site_file: Path, recording: Path, database: Path, now_unix: float, progress: Callable[[float], None]
) -> Site:
    """Scan the demo's recording into its database; ``progress`` is told the seconds of recording read."""
    site, settings = load_site(site_file), DetectionSettings()
    source = open_source(recording)
    start = source.info.start_unix
    with Store.open(database, mode="create") as store:
        text = site_file.read_text(encoding="utf-8")
        run_id = store.begin_run(site.site.name, text, f"demo {recording.name}", asdict(settings), now_unix)
        scan_recording(source, site, store, run_id, settings, lambda unix: progress(unix - start))
    return site
