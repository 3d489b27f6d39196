"""``skyglint check``: the station's health before the night."""

from __future__ import annotations

import json as json_module
from dataclasses import asdict
from typing import Annotated

import typer

from skyglint.cli.options import JsonOption, SiteArgument


def run(
    site: SiteArgument,
    gains: Annotated[bool, typer.Option("--gains/--no-gains", help="Try several gains and recommend one.")] = True,
    json: JsonOption = False,
) -> None:
    """Check receiver, level, clocks, channels, disk and speed before a night.

    Example: `skyglint check site.toml`

    Exit status 1 when something is bad.
    """
    from rich.console import Console
    from rich.table import Table

    from skyglint import __version__
    from skyglint.site import load_site
    from skyglint.station.check_run import run_checks
    from skyglint.station.receiver import receiver_of

    declared = load_site(site)
    folder = site.resolve().parent
    live = "://" in declared.receiver.source
    checks = run_checks(declared, folder, lambda gain_db: receiver_of(declared, folder, gain_db), gains and live)
    if json:
        typer.echo(json_module.dumps({"version": __version__, "checks": [asdict(item) for item in checks]}, indent=2))
    else:
        table = Table(box=None, pad_edge=False)
        for heading in ("check", "", "measured", "expected"):
            table.add_column(heading, overflow="fold")
        for item in checks:
            table.add_row(item.name, item.verdict, item.measured, item.expected)
        console = Console()
        console.print(table)
        for item in checks:
            if item.advice:
                console.print(f"{item.name}: {item.advice}")
    if any(item.verdict == "bad" for item in checks):
        raise typer.Exit(1)
