"""The satellites of the site file: when they pass, what they should look like, and which echoes they may explain.

The elements come from the operator's file and from nowhere else; it is read again when it changes. Passes are predicted
once, hours at a time, and kept.
"""

from __future__ import annotations

import logging
import math
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from skyglint.echoes.echo import Echo
from skyglint.echoes.spacecraft import ExpectedCurve
from skyglint.errors import RequestError
from skyglint.plan.satellite_passes import SatellitePass, predict
from skyglint.plan.satellite_tags import tags_of
from skyglint.site import Site
from skyglint.sky.orbits.elements import Elements, position_error_km
from skyglint.sky.orbits.reading import load_elements
from skyglint.store.records import Tag

log = logging.getLogger(__name__)

#: Objects of a file that are looked out for where the site file names none: each costs a tenth of a second an hour.
MOST_OBJECTS = 100
#: Passes are predicted for so long at a time, and from so long before, that few are cut.
_SPAN_S, _BEFORE_S = 6 * 3600.0, 1800.0
#: In live use the file is looked at so often.
_LOOK_S = 10.0
_LOW_ORBIT_KM_S = 7.5


class Overhead:
    """What passes over a site.

    Parameters
    ----------
    site, folder
        The site, and the folder that relative paths of its file start from.
    patient
        Whether who asks waits for passes to be predicted. Else only what ``prepare`` has predicted is known.
    ahead_s
        How far ahead ``keep_ready`` keeps passes known.
    step_s
        Time between the points of a track. Between them a shift is off a straight line by a hertz at most in 2 s (low
        orbits, 150 MHz), by 25 Hz in 10 s.

    Attributes
    ----------
    trouble
        What is wrong with the file of elements, in words; empty while nothing is.
    """

    def __init__(
        self, site: Site, folder: Path, patient: bool = True, ahead_s: float = 3600.0, step_s: float = 2.0
    ) -> None:
        self._site = site
        self._path = folder / site.station.elements if site.station.elements is not None else None
        self._patient, self._ahead_s, self._step_s = patient, ahead_s, step_s
        self._lock = threading.Lock()
        self._seen: tuple[int, int] | None = None
        self._elements: tuple[Elements, ...] = ()
        # From when to when passes are known, and these; replaced as one.
        self._known: tuple[float, float, tuple[SatellitePass, ...]] = (math.inf, -math.inf, ())
        self.trouble = ""

    @property
    def watches(self) -> bool:
        """Whether the site file names a file of elements at all."""
        return self._path is not None

    def passes(self, start_unix: float, end_unix: float) -> list[SatellitePass]:
        """Return the passes that share time with a span, by rise."""
        first, last, known = self._known
        if self._patient and (start_unix < first or end_unix > last):
            self.prepare(start_unix, end_unix)
            known = self._known[2]
        return [one for one in known if one.when.start_unix < end_unix and one.when.end_unix > start_unix]

    def curves(self, channel: str, start_unix: float, end_unix: float) -> list[ExpectedCurve]:
        """Return the curves that spacecraft should draw in a channel between two times."""
        found = []
        for one in self.passes(start_unix, end_unix):
            shift = one.track.channel_doppler_hz.get(channel)
            if shift is not None and np.isfinite(shift).any():
                nothing = np.full(len(shift), math.nan)
                late_s = position_error_km(one.age_days) / _LOW_ORBIT_KM_S
                curve = ExpectedCurve(
                    one.elements.name, one.track.unix, shift, one.snr_db.get(channel, nothing), late_s
                )
                found.append(curve)
        return found

    def tags(self, echo: Echo) -> Iterator[Tag]:
        """Yield the tags of an echo that passes may explain."""
        return tags_of(self.passes(echo.start_unix, echo.end_unix), echo)

    def prepare(self, start_unix: float, end_unix: float) -> None:
        """Predict the passes of a span and of hours after it, unless they are known and the file is as it was."""
        if self._path is None:
            return
        with self._lock:
            changed = self._read()
            first, last, _ = self._known
            if changed or start_unix < first or end_unix > last:
                first, last = start_unix - _BEFORE_S, end_unix + _SPAN_S
                passes = predict(self._site, self._elements, first, last, step_s=self._step_s)
                self._known = (first, last, tuple(passes))
                for warning in dict.fromkeys(one.warning for one in passes if one.warning):
                    log.warning("%s", warning)

    def keep_ready(self, stop: threading.Event, clock: Callable[[], float]) -> None:
        """Keep the passes to come known until told to stop: for a thread beside those that must not wait."""
        while not stop.is_set():
            now = clock()
            self.prepare(now - _BEFORE_S, now + self._ahead_s)
            stop.wait(_LOOK_S)

    def _read(self) -> bool:
        """Read the file if it has changed since; return whether it has. What cannot be read leaves the old elements."""
        assert self._path is not None  # asked only where there is one
        try:
            state = self._path.stat()
            now = (state.st_mtime_ns, state.st_size)
        except OSError:
            now = (0, 0)
        if now == self._seen:
            return False
        self._seen = now
        before, self.trouble = self.trouble, ""
        try:
            found = load_elements([self._path])
        except RequestError as error:
            self.trouble = str(error)
        else:
            self._elements = self._chosen(found.elements)
            self.trouble = self.trouble or "; ".join(found.rejected[:3])
        # Shown on pages, where the folder is nobody's business.
        self.trouble = self.trouble.replace(str(self._path), self._path.name)
        if self.trouble and self.trouble != before:
            log.warning("%s", self.trouble)
        return True

    def _chosen(self, elements: tuple[Elements, ...]) -> tuple[Elements, ...]:
        own = {channel.satellite for channel in self._site.channel if channel.satellite is not None}
        wanted = self._site.station.satellites
        if wanted is None and len(elements) > MOST_OBJECTS:
            self.trouble = (
                f"{self._path}: {len(elements)} objects: name those to look out for in [station] satellites; "
                f"without it at most {MOST_OBJECTS} are"
            )
            return tuple(one for one in elements if one.catalog_number in own)
        if wanted is None:
            return elements
        missing = (own | set(wanted)) - {one.catalog_number for one in elements}
        if missing:
            self.trouble = f"{self._path}: no elements of {', '.join(map(str, sorted(missing)))}"
        return tuple(one for one in elements if one.catalog_number in own or one.catalog_number in wanted)
