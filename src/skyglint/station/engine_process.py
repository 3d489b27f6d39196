"""The engine as a process of its own: ``python -m skyglint.station.engine_process SITE``."""

from __future__ import annotations

import argparse
import logging
import os
import signal
import sys
import threading
from functools import partial
from pathlib import Path

from skyglint.errors import SkyglintError
from skyglint.site import Site, load_site
from skyglint.station.engine import Engine
from skyglint.station.live import Publisher
from skyglint.station.logs import set_up_logs
from skyglint.station.notices import Notice, Notifier, post
from skyglint.station.receiver import receiver_of

log = logging.getLogger(__name__)


def main(arguments: list[str] | None = None) -> int:
    """Run the engine until the process is told to end, or its parent is gone."""
    parser = argparse.ArgumentParser(prog="skyglint engine")
    parser.add_argument("site", type=Path)
    parser.add_argument("--feed-port", type=int, required=True)
    parser.add_argument("--log-json", action="store_true")
    given = parser.parse_args(arguments)
    set_up_logs(given.log_json, "engine")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    threading.Thread(target=_end_with_parent, args=(os.getppid(), stop), daemon=True).start()
    try:
        site = load_site(given.site)
        folder = given.site.resolve().parent
        publisher = Publisher(given.feed_port)
        notifier = _notifier(site)
        tell = notifier.tell if notifier else _nobody
        text = given.site.read_text(encoding="utf-8")
        engine = Engine(site, text, folder, partial(receiver_of, site, folder), publisher.send, tell)
        engine.run(stop)
        if notifier:
            notifier.close()
    except SkyglintError as error:
        log.error("%s", error)
        return error.exit_status
    return 0


def _notifier(site: Site) -> Notifier | None:
    if site.notices is None:
        return None
    send = partial(post, site.notices.webhook)
    return Notifier(send, site.site.name, site.notices.template, site.notices.most_per_hour)


def _nobody(_: Notice) -> bool:
    return False


def _end_with_parent(parent: int, stop: threading.Event) -> None:
    while not stop.wait(1.0):
        if os.getppid() != parent:
            stop.set()


if __name__ == "__main__":
    sys.exit(main())
