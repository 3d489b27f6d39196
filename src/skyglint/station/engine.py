"""The engine of the unattended run: capture, detection and storage in one process.

It survives a receiver that stalls or dies, a database that is locked, a disk that fills, and a clock that is set. What
it could not watch it marks as lost; it never bends time to hide a loss.
"""

from __future__ import annotations

import logging
import math
import os
import threading
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from skyglint.dsp.frames import FrameBlock
from skyglint.echoes.echo import Echo
from skyglint.echoes.settings import DetectionSettings
from skyglint.errors import RequestError, SkyglintError, SourceError, StoreError
from skyglint.signals.block import Block, Gap, Source
from skyglint.signals.encodings import encoding_named
from skyglint.site import Site
from skyglint.station.capture import Capture
from skyglint.station.chain import Chain, Heard
from skyglint.station.closing import Closing
from skyglint.station.disk import Disk
from skyglint.station.feed import Feed
from skyglint.station.levels import Levels
from skyglint.station.live import LiveMessage
from skyglint.station.live_store import LiveStore
from skyglint.station.notices import Notice, Occasion
from skyglint.station.outage import Outage
from skyglint.station.overhead import Overhead
from skyglint.station.recent import Recent, Samples
from skyglint.station.schedule import is_open, next_change_unix
from skyglint.station.strength import peak_words, strength_db
from skyglint.station.warm_up import warm_up
from skyglint.store.store import Store
from skyglint.utc import format_utc

log = logging.getLogger(__name__)

#: Backlogs at which the spectra are shed, and at which they come back.
SHED_AT, RESUME_AT = 0.25, 0.05
#: A source that is lost is tried again after this; silence for longer is told.
RETRY_S, SILENT_S = 2.0, 10.0
#: The same trouble is logged once in this time.
QUIET_S = 600.0
#: Seconds of samples held for snippets, and that may wait; a fast receiver's take no more than so many bytes.
HELD_S, QUEUE_S = 20.0, 8.0
MOST_BYTES = 256 << 20


class Engine:
    """Watches one site until told to stop.

    Parameters
    ----------
    site, site_text
        The site, and the text of its file for provenance.
    folder
        Folder that relative paths of the site file start from.
    open_source
        Opens the receiver anew.
    send
        Takes live messages and never waits.
    tell
        Takes notices and never waits.
    clock, monotonic
        POSIX seconds now, and a clock that is never set.
    """

    def __init__(
        self,
        site: Site,
        site_text: str,
        folder: Path,
        open_source: Callable[[], Source],
        send: Callable[[LiveMessage], None],
        tell: Callable[[Notice], object],
        clock: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
        settings: DetectionSettings | None = None,
    ) -> None:
        self._site, self._site_text = site, site_text
        self._database = folder / site.station.database
        budget_bytes = site.station.disk_budget_gb * 1e9
        self._disk = Disk(self._database, folder / site.station.snippets, budget_bytes, monotonic)
        self._open_source, self._send, self._tell_now = open_source, send, tell
        self._clock, self._monotonic = clock, monotonic
        self._settings = settings or DetectionSettings()
        hours = (site.station.from_solar_hour, site.station.to_solar_hour)
        # Rounded: hours that open by the exact longitude would give it away in the coverage that may be published.
        self._longitude_deg = round(site.site.longitude_deg, 1)
        self._hours = None if hours[0] is None or hours[1] is None else (hours[0], hours[1])
        targets = [channel.name for channel in site.channel if channel.role == "target"]
        self._feed = Feed(clock(), targets)
        self._overhead = Overhead(site, folder, patient=False)
        self._shedding, self._writable = False, True
        self._outage = Outage()
        self._last_told: dict[str, float] = {}
        self._last_trouble = "", -math.inf
        self._levels = Levels()
        self._channels = {channel.name: channel for channel in site.channel}
        self._warm_hz = math.nan

    def run(self, stop: threading.Event) -> None:
        """Watch until ``stop`` is set or the source has ended."""
        longitude = self._longitude_deg
        self._disk.make_reserve()
        self._outage.account_for_absence(
            self._database, self._site.site.name, self._clock(), lambda unix: is_open(unix, self._hours, longitude)
        )
        self._prepare_database()
        threading.Thread(target=self._disk.keep_within_budget, args=(stop,), name="retention", daemon=True).start()
        if self._overhead.watches:
            threading.Thread(target=self._overhead.keep_ready, args=(stop, self._clock), daemon=True).start()
        while not stop.is_set():
            now = self._clock()
            if not is_open(now, self._hours, longitude):
                opens = format_utc(next_change_unix(now, self._hours, longitude), 0)[11:16]
                self._send(self._feed.idle(now, "waiting", f"Waiting for {opens} UTC to begin.", self._health(None)))
                stop.wait(1.0)
                continue
            if self._session(stop, next_change_unix(now, self._hours, longitude)):
                return

    def _session(self, stop: threading.Event, until_unix: float) -> bool:
        """Watch through one opening of the source; return whether the source has ended for good."""
        try:
            source = self._open_source()
        except SourceError as error:
            self._note_lost(error)
            stop.wait(RETRY_S)
            return False
        most_s = MOST_BYTES / (source.info.sample_rate_hz * encoding_named(source.info.encoding).bytes_per_sample)
        capture = Capture(source, min(QUEUE_S, most_s))
        band = (source.info.band_low_hz, source.info.band_high_hz)
        frames: list[tuple[tuple[str, ...], FrameBlock]] = []
        chain = Chain(
            self._site.channel,
            self._site.receiver.correction_ppm,
            band,
            self._settings,
            on_frames=lambda names, block: frames.append((names, block)),
            place=self._site.site,
            expected=self._overhead.curves,
            names_echoes=False,
        )
        chain.recent = Recent(min(HELD_S, most_s), self._site.receiver.correction_ppm)
        closing = Closing(chain.name, lambda echo: self._keep_snippet(echo, chain.recent), self._monotonic)
        store = LiveStore(
            self._database,
            self._begin_run,
            source.info,
            self._site.channel,
            self._monotonic,
            self._trouble,
            tags_of=self._overhead.tags,
        )
        self._feed = Feed(self._clock(), [channel.name for channel in self._site.channel if channel.role == "target"])
        if source.info.sample_rate_hz != self._warm_hz:
            self._warm_hz = source.info.sample_rate_hz
            warm_up(self._warm_hz)
        capture.start()
        try:
            self._watch(stop, until_unix, capture, chain, closing, store, frames)
        finally:
            capture.stop()
            for heard in chain.finish():
                self._take(heard, store, closing)
            self._settle(closing.finish(), store)
            store.close()
            if self._feed.has_echoes:
                self._send(self._feed.idle(self._clock(), "starting", "Between two stretches of listening.", {}))
        if capture.error is not None:
            self._note_lost(capture.error)
            stop.wait(RETRY_S)
            return False
        return capture.ended

    def _watch(
        self,
        stop: threading.Event,
        until_unix: float,
        capture: Capture,
        chain: Chain,
        closing: Closing,
        store: LiveStore,
        frames: list[tuple[tuple[str, ...], FrameBlock]],
    ) -> None:
        last_item, heard_of = self._monotonic(), False
        while not stop.is_set() and not capture.ended and self._clock() < until_unix:
            item = capture.next(0.25)
            if item is None:
                silent_s = self._monotonic() - last_item
                if silent_s > SILENT_S:
                    self._silent(silent_s)
                self._settle(closing.done(), store)
                store.flush()
                continue
            last_item = self._monotonic()
            if not heard_of:
                heard_of = True
                log.info("samples arrive; %d channels are watched", len(self._site.channel))
            if lost := self._outage.end(item.start_unix, self._site.channel):
                store.keep(Heard(coverage=lost))
            for heard in chain.process(item):
                self._take(heard, store, closing)
            self._settle(closing.done(), store)
            self._writable = store.writable
            self._publish(frames, capture, item)

    def _take(self, heard: Heard, store: LiveStore, closing: Closing) -> None:
        """Take in what the chain yielded; its echoes come back by ``closing``."""
        rest = closing.add(heard, in_haste=self._shedding)
        self._feed.hear(rest)
        store.keep(rest)
        for sentence in self._levels.hear(rest):
            self._notice("level-changed", sentence)

    def _settle(self, closed: Heard, store: LiveStore) -> None:
        """Store echoes that have closed, and only then tell of them."""
        if not closed.findings:
            return
        store.keep(closed)
        self._feed.hear(closed)
        for findings in closed.findings:
            for echo in findings.echoes:
                self._tell_if_strong(echo)

    def _publish(self, frames: list[tuple[tuple[str, ...], FrameBlock]], capture: Capture, item: Block | Gap) -> None:
        backlog = capture.backlog
        if backlog > SHED_AT and not self._shedding:
            self._shedding = True
            self._notice(
                "too-slow", "The computer is falling behind: live spectrograms are left out until it catches up."
            )
        elif backlog < RESUME_AT:
            self._shedding = False
        health = self._health(capture)
        for names, block in frames:
            self._send(self._feed.message(names, block, health, not self._shedding, self._writable))
        if isinstance(item, Gap):
            self._send(self._feed.idle(item.end_unix, "lost", f"No samples: {item.reason}.", health))
        frames.clear()

    def _keep_snippet(self, echo: Echo, recent: Samples) -> Echo:
        strength = strength_db(echo, self._channels[echo.channel])
        if not strength >= self._site.station.snippet_snr_db or self._disk.is_full:
            return echo
        excerpt = recent.excerpt(echo.start_unix - 0.5, echo.end_unix + 0.5)
        try:
            if excerpt is not None:
                self._disk.snippets.keep(excerpt, echo.channel, strength)
        except SkyglintError as error:
            log.warning("snippet not kept: %s", error)
        return echo

    def _tell_if_strong(self, echo: Echo) -> None:
        channel = self._channels[echo.channel]
        if self._site.notices is None or not strength_db(echo, channel) >= self._site.notices.strong_snr_db:
            return
        text = f"{echo.echo_class} echo on {echo.channel}: {peak_words(echo, channel)}, {echo.duration_s:.1f} s"
        self._notice("strong-echo", text)

    def _prepare_database(self) -> None:
        """Make the database before the first samples come; where that fails it is tried again with each write."""
        try:
            Store.open(self._database, mode="create").close()
        except (StoreError, RequestError) as error:
            self._trouble(StoreError(str(error)))

    def _begin_run(self, store: Store) -> int:
        return store.begin_run(self._site.site.name, self._site_text, "watch", asdict(self._settings), self._clock())

    def _note_lost(self, error: SkyglintError) -> None:
        # The page and the coverage are public: where the receiver is to be found stands in the log only.
        now, reason = self._clock(), str(error).removeprefix(f"{self._site.receiver.source}: ")
        if self._outage.begin(now, reason):
            log.warning("no samples: %s; it is tried again every %.0f s", error, RETRY_S)
        self._send(self._feed.idle(now, "lost", f"No samples: {reason}.", self._health(None)))
        if self._outage.lasts_s(now) > SILENT_S:
            self._notice("receiver-silent", reason)

    def _silent(self, silent_s: float) -> None:
        text = f"the receiver has sent nothing for {silent_s:.0f} s"
        self._send(self._feed.idle(self._clock(), "lost", f"No samples: {text}.", self._health(None)))
        self._notice("receiver-silent", text)

    def _trouble(self, error: StoreError) -> None:
        now, text = self._monotonic(), str(error)
        if text != self._last_trouble[0] or now - self._last_trouble[1] > QUIET_S:
            self._last_trouble = text, now
            log.error("%s; what is found meanwhile is held in memory", text)
        if self._disk.is_full or "disk is full" in text:
            self._disk.give_way()
            self._notice("disk-full", "The disk is full; old snippets are given up to keep the tables growing.")

    def _notice(self, occasion: Occasion, text: str) -> None:
        now = self._monotonic()
        if occasion == "strong-echo" or now - self._last_told.get(occasion, -math.inf) > QUIET_S:
            self._last_told[occasion] = now
            log.warning("%s: %s", occasion, text)
        self._tell_now(Notice(self._clock(), occasion, text))

    def _health(self, capture: Capture | None) -> dict[str, float]:
        usage = os.times()
        return {
            "backlog_share": capture.backlog if capture else 0.0,
            "dropped_s": capture.dropped_s if capture else 0.0,
            "cpu_s": usage.user + usage.system,
            "disk_free_bytes": self._disk.free_bytes,
            "snippets_bytes": float(self._disk.snippets.used_bytes),
            "spectra_shed": float(self._shedding),
            "database_unwritable": float(not self._writable),
        }
