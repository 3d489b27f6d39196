"""Keeping processes alive: each is started anew when it ends, soon at first and then after longer pauses."""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

log = logging.getLogger(__name__)

#: Pauses before a new start: the first, and the longest. A process that ran for the last span starts from the first.
FIRST_PAUSE_S, LONGEST_PAUSE_S, HEALTHY_S = 0.5, 8.0, 30.0
#: Exit status that another start does not mend: the site file is at fault.
WRONG_REQUEST = 2
#: Time that a process gets to end by itself.
GRACE_S = 8.0


@dataclass(slots=True)
class Child:
    """One process to keep alive.

    Attributes
    ----------
    name
        For the log.
    command
        What to run.
    once
        Whether a clean end (status 0), or a request that was wrong (status 2), is the end of it.
    quiet
        Whether nobody wants to read what it logs.
    status
        With which it ended for good.
    """

    name: str
    command: Sequence[str]
    once: bool = False
    quiet: bool = False
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    pause_s: float = FIRST_PAUSE_S
    due: float = 0.0
    done: bool = False
    status: int = 0
    starts: int = field(default=0)


def python(*arguments: str) -> list[str]:
    """Return a command that runs this Python with a module and its arguments."""
    return [sys.executable, "-m", *arguments]


def supervise(children: Sequence[Child], stop: threading.Event, poll_s: float = 0.1) -> None:
    """Keep the children alive until ``stop`` is set or every one that ends by itself has ended cleanly."""
    try:
        while not stop.is_set() and not all(child.done for child in children):
            for child in children:
                _tend(child)
            if any(child.once and child.done for child in children):
                break
            stop.wait(poll_s)
    finally:
        _end(children)


def _tend(child: Child) -> None:
    now = time.monotonic()
    if child.process is None:
        if not child.done and now >= child.due:
            output = subprocess.DEVNULL if child.quiet else None
            child.process = subprocess.Popen(list(child.command), stdout=output, stderr=output)
            child.started, child.starts = now, child.starts + 1
        return
    status = child.process.poll()
    if status is None:
        return
    child.process = None
    if status in (0, WRONG_REQUEST) and child.once:
        child.done, child.status = True, status
        return
    healthy = now - child.started > HEALTHY_S
    child.pause_s = FIRST_PAUSE_S if healthy else min(2 * child.pause_s, LONGEST_PAUSE_S)
    child.due = now + child.pause_s
    log.warning("%s ended with status %s; starting it again in %.1f s", child.name, status, child.pause_s)


def _end(children: Sequence[Child]) -> None:
    running = [child.process for child in children if child.process is not None]
    for process in running:
        process.terminate()
    deadline = time.monotonic() + GRACE_S
    for process in running:
        try:
            process.wait(max(0.1, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
