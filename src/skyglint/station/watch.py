"""The unattended run as a whole: the engine and the pages, each in a process of its own, kept alive."""

from __future__ import annotations

import signal
import socket
import threading
from pathlib import Path

from skyglint.station.logs import set_up_logs
from skyglint.station.supervise import Child, python, supervise


def watch_site(site_file: Path, pages: bool, log_json: bool) -> int:
    """Keep the station running until this process is told to end, or its source has ended; return the exit status.

    Parameters
    ----------
    site_file
        Checked already; each process reads it itself.
    pages
        Whether to serve the live pages too.
    log_json
        Log one JSON object a line.
    """
    set_up_logs(log_json, "watch")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    common = [str(site_file), "--feed-port", str(free_port()), *(["--log-json"] if log_json else [])]
    children = [Child("engine", python("skyglint.station.engine_process", *common), once=True)]
    if pages:
        # Started by name: the pages' room lies to the right of this one.
        children.append(Child("pages", python("skyglint.web.process", *common)))
    supervise(children, stop)
    return children[0].status


def free_port() -> int:
    """Return a datagram port on the loopback interface that is free now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
