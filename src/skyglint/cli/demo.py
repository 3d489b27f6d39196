"""``skyglint demo``: the whole chain on an invented morning."""

from __future__ import annotations

import os
import sys
import time
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import ForceOption
from skyglint.cli.output import write_file
from skyglint.cli.progress import progress


def run(
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder for the recording and the page.")] = Path(
        "demo"
    ),
    open_page: Annotated[bool, typer.Option("--open/--no-open", help="Open the page where there is a browser.")] = True,
    force: ForceOption = False,
) -> None:
    """Make a recording of an invented morning, find its echoes, and show the night page.

    Example: `skyglint demo`

    Nothing in it exists: place, stations and meteors are invented. It takes about a minute and 420 MB of disk.
    """
    from skyglint.cli.compare_words import comparison_table
    from skyglint.report.gather import gather_night
    from skyglint.report.page import render_night
    from skyglint.simulate import demo_files, load_scenario, simulate
    from skyglint.station.compare import compare
    from skyglint.station.demo import scan_demo
    from skyglint.store.store import Store

    begin = time.monotonic()
    site_file, scenario_file = demo_files()
    to.mkdir(parents=True, exist_ok=True)
    scenario = load_scenario(scenario_file)
    recording = to / "morning.sigmf-meta"
    typer.echo(f"Making {scenario.recording.duration_s:.0f} s of an invented shower morning ...")
    with progress("simulating", 0.0, 1.0) as told:
        truth = simulate(scenario, recording, force=force, progress=told)
    typer.echo(f"Scanning it ({time.monotonic() - begin:.0f} s so far) ...")
    database = to / "night.db"
    for leftover in (database, *(database.with_name(database.name + suffix) for suffix in ("-wal", "-shm"))):
        leftover.unlink(missing_ok=True)
    with progress("scanning", 0.0, scenario.recording.duration_s) as told:
        site = scan_demo(site_file, recording, database, time.time(), told)
    targets = [channel.name for channel in site.channel if channel.role == "target"]
    with Store.open(database) as store:
        result = compare(truth, store.echoes(), targets)
        night = gather_night(store)
    page = to / f"night-{night.date}.html"
    write_file(page, render_night(night), force=True)
    for line in comparison_table(result):
        typer.echo(line)
    typer.echo(f"Night page: {page} (made in {time.monotonic() - begin:.0f} s)")
    if open_page and has_screen():
        webbrowser.open(page.resolve().as_uri())


def has_screen() -> bool:
    """Tell whether a browser window could be seen: text browsers on a bare terminal would only get in the way."""
    return sys.platform in ("win32", "darwin") or any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
