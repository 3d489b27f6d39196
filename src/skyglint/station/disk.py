"""The disk of the unattended run: samples and pictures within their budget, and what gives way when it fills."""

from __future__ import annotations

import logging
import math
import shutil
import threading
from collections.abc import Callable
from pathlib import Path

from skyglint.errors import SkyglintError
from skyglint.station.retention import SnippetFolder
from skyglint.station.strength import CARRIER_LESS_DB
from skyglint.store.store import Store

log = logging.getLogger(__name__)

#: Pictures of echoes may take this share of the disk budget, samples the rest; looked after so often.
PICTURE_SHARE, RETENTION_S = 0.5, 6 * 3600.0
#: Free space below which the disk counts as full, and the reserve that is given up then.
LEAST_FREE_BYTES = 500e6
RESERVE_BYTES = 16 << 20
#: Half of the snippets give way at most so often: more would not help against another program that fills the disk.
GIVE_WAY_S = 600.0


class Disk:
    """What the station keeps on its disk beside the tables.

    Parameters
    ----------
    database
        Its file; a reserve is laid beside it.
    snippets
        Folder for the samples of strong echoes.
    budget_bytes
        For samples and pictures together.
    monotonic
        A clock that is never set.
    """

    def __init__(self, database: Path, snippets: Path, budget_bytes: float, monotonic: Callable[[], float]) -> None:
        self._database, self._budget, self._monotonic = database, budget_bytes, monotonic
        self._reserve = database.with_suffix(".reserve")
        self._gave_way = -math.inf
        self.snippets = SnippetFolder(snippets, budget_bytes)

    @property
    def free_bytes(self) -> float:
        """Bytes that are free."""
        return float(shutil.disk_usage(self._database.parent).free)

    @property
    def is_full(self) -> bool:
        """Whether there is no room but for the tables."""
        return self.free_bytes < LEAST_FREE_BYTES

    def make_reserve(self) -> None:
        """Lay a small file aside that is given up when the disk fills, so that the tables can still be written."""
        if self._reserve.exists() or self.is_full:
            return
        with self._reserve.open("wb") as file:
            file.write(b"\0" * RESERVE_BYTES)

    def give_way(self) -> None:
        """Make room for the tables: give the reserve up, and half of the snippets."""
        self._reserve.unlink(missing_ok=True)
        now = self._monotonic()
        if now - self._gave_way > GIVE_WAY_S:
            self._gave_way = now
            self.snippets.shrink_to(self.snippets.used_bytes / 2)

    def keep_within_budget(self, stop: threading.Event) -> None:
        """Hold pictures to their share of the budget, and samples to what they leave, a few times a day."""
        while not stop.is_set():
            try:
                with Store.open(self._database, "write") as store:
                    pictures = store.keep_pictures_within(PICTURE_SHARE * self._budget, CARRIER_LESS_DB)
                self.snippets.set_budget(self._budget - pictures)
            except SkyglintError as error:
                log.warning("the disk budget could not be looked after: %s", error)
            stop.wait(RETENTION_S)
