"""A progress bar for long work: on a terminal, and nowhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress(label: str, start: float, end: float) -> Iterator[Callable[[float], None]]:
    """Yield a function that is told how far the work has come, between ``start`` and ``end``."""
    if not sys.stderr.isatty() or not end > start:
        yield lambda position: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    with Progress(*columns, TimeRemainingColumn(), console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(label, total=end - start)
        yield lambda position: bar.update(task, completed=position - start)
