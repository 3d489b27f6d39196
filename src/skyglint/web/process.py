"""The pages as a process of their own: ``python -m skyglint.web.process SITE --feed-port PORT``."""

from __future__ import annotations

import argparse
import ipaddress
import logging
import os
import signal
import sys
import threading
from pathlib import Path

from skyglint.errors import SkyglintError
from skyglint.site import load_site
from skyglint.station.logs import set_up_logs
from skyglint.web.app import make_app
from skyglint.web.context import make_context
from skyglint.web.server import Server, bind

log = logging.getLogger(__name__)

#: Lower than the engine's, so that a crowd never costs it a sample.
NICENESS = 5


def main(arguments: list[str] | None = None) -> int:
    """Serve the pages until the process is told to end, or its parent is gone."""
    parser = argparse.ArgumentParser(prog="skyglint pages")
    parser.add_argument("site", type=Path)
    parser.add_argument("--feed-port", type=int, required=True)
    parser.add_argument("--log-json", action="store_true")
    given = parser.parse_args(arguments)
    set_up_logs(given.log_json, "pages")
    # The server hands signals on when it has ended; by then there is nothing left to do.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: None)
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    try:
        site = load_site(given.site)
        context = make_context(site, given.site.resolve().parent)
        listening = bind(site.pages.host, site.pages.port)
        _show_token(context.token.make_if_missing())
        server = Server(make_app(context, given.feed_port), context.hub)
    except SkyglintError as error:
        log.error("%s", error)
        return error.exit_status
    threading.Thread(target=_end_with_parent, args=(os.getppid(), server), daemon=True).start()
    _say_where(site.pages.host, site.pages.port)
    server.run([listening])
    return 0 if server.started else 1


def _show_token(token: str | None) -> None:
    if token is not None:
        print(
            f"The operator's token, shown this once: {token}\nSign in with it at /operator to review echoes.",
            flush=True,
        )


def _say_where(host: str, port: int) -> None:
    shown = f"[{host}]" if ":" in host else host
    log.info("the pages are at http://%s:%d/", shown, port)
    try:
        alone = host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        alone = False
    if not alone:
        log.warning(
            "everyone who reaches this computer may look at the pages; put a web server with encryption before them "
            "if they are to be seen from the internet"
        )


def _end_with_parent(parent: int, server: Server) -> None:
    ended = threading.Event()
    while not ended.wait(1.0):
        if os.getppid() != parent:
            server.should_exit = True


if __name__ == "__main__":
    sys.exit(main())
