"""I/Q around strong echoes as SigMF, within a disk budget: the oldest and weakest go first, the tables never."""

from __future__ import annotations

import math
import re
import threading
from dataclasses import dataclass
from pathlib import Path

from skyglint.errors import SkyglintError
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.station.recent import Excerpt
from skyglint.utc import format_utc, parse_utc

#: Samples that a snippet holds before its echo's start.
LEAD_S = 0.5

_NAME = re.compile(r"^(?P<time>\d{8}T\d{6}\.\d{2}Z)_(?P<snr>-?\d+)dB_.*\.sigmf-data$")


@dataclass(frozen=True, slots=True)
class Kept:
    """One snippet on disk."""

    path: Path
    time: str
    snr_db: int
    size: int


class SnippetFolder:
    """Keeps snippets in a folder and within a budget; threads may share it.

    Parameters
    ----------
    folder
        Made where it is missing.
    budget_bytes
        Most bytes of all snippets together.
    """

    def __init__(self, folder: Path, budget_bytes: float) -> None:
        self._folder = folder
        self._budget = budget_bytes
        folder.mkdir(parents=True, exist_ok=True)
        for unfinished in folder.glob(".*.part"):
            unfinished.unlink(missing_ok=True)
        self._kept = sorted(_kept_in(folder), key=lambda item: item.time)
        self._turn = threading.RLock()

    def set_budget(self, budget_bytes: float) -> None:
        """Keep within another budget from now on."""
        with self._turn:
            self._budget = budget_bytes
            self.shrink_to(budget_bytes)

    @property
    def used_bytes(self) -> int:
        """Bytes of all snippets together."""
        with self._turn:
            return sum(item.size for item in self._kept)

    def keep(self, excerpt: Excerpt, channel: str, strength_db: float) -> Path | None:
        """Write a snippet and make room for it; return its path, or ``None`` where it alone exceeds the budget.

        Raises
        ------
        SkyglintError
            If it cannot be written.
        """
        size = excerpt.values.nbytes
        if size > self._budget:
            return None
        with self._turn:
            self.shrink_to(self._budget - size)
            stamp = format_utc(excerpt.start_unix, 2).replace("-", "").replace(":", "")
            path = self._folder / f"{stamp}_{round(strength_db)}dB_{_safe(channel)}.sigmf-meta"
            with SigMFWriter(path, excerpt.encoding, excerpt.sample_rate_hz, force=True) as writer:
                writer.capture(excerpt.start_unix, excerpt.center_frequency_hz)
                writer.write(excerpt.values)
            data = path.with_suffix(".sigmf-data")
            self._kept.append(Kept(data, stamp, round(strength_db), size))
            return path

    def shrink_to(self, most_bytes: float) -> None:
        """Remove snippets until at most so many bytes are left: of the older half, the weakest first."""
        with self._turn:
            while self._kept and self.used_bytes > most_bytes:
                older = self._kept[: max(1, len(self._kept) // 2)]
                victim = min(older, key=lambda item: item.snr_db)
                self._kept.remove(victim)
                for path in (victim.path, victim.path.with_suffix(".sigmf-meta")):
                    try:
                        path.unlink(missing_ok=True)
                    except OSError as error:
                        raise SkyglintError(f"{path}: cannot be removed: {error.strerror}") from error


def find_snippet(folder: Path, channel: str, start_unix: float) -> Path | None:
    """Return the metadata file of the snippet around an echo's start, or ``None`` where none is kept any more."""
    best: tuple[float, Path] | None = None
    for path in folder.glob(f"*dB_{_safe(channel)}.sigmf-meta"):
        name = _NAME.match(path.with_suffix(".sigmf-data").name)
        before_s = start_unix - parse_utc(_spread(name["time"])) if name else math.inf
        # A snippet begins half a second before its echo, or as early as the samples were still held.
        if -1.0 < before_s < 1.0 and (best is None or abs(before_s - LEAD_S) < best[0]):
            best = abs(before_s - LEAD_S), path
    return best[1] if best else None


def _safe(channel: str) -> str:
    return re.sub(r"[^A-Za-z0-9-]+", "-", channel)[:40] or "channel"


def _spread(stamp: str) -> str:
    """Return a file name's time as ISO 8601 with its punctuation."""
    return f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:11]}:{stamp[11:13]}:{stamp[13:]}"


def _kept_in(folder: Path) -> list[Kept]:
    found = []
    for path in folder.glob("*.sigmf-data"):
        if name := _NAME.match(path.name):
            found.append(Kept(path, name["time"], int(name["snr"]), path.stat().st_size))
    return found
