"""``skyglint report``: the page of one night."""

from __future__ import annotations

import webbrowser
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import DatabaseArgument, ForceOption
from skyglint.errors import RequestError, SkyglintError


def run(
    database: DatabaseArgument,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder for the page; made where it is missing.")],
    night: Annotated[
        str | None,
        typer.Option("--date", metavar="DATE", help="The evening's date, like 2026-08-12; default the latest night."),
    ] = None,
    site: Annotated[
        str | None, typer.Option(metavar="NAME", help="Which site, where the database holds several.")
    ] = None,
    open_page: Annotated[bool, typer.Option("--open", help="Open the page in a browser.")] = False,
    force: ForceOption = False,
) -> None:
    """Write the page of one night: one HTML file that needs nothing else.

    Example: `skyglint report night.db --date 2026-08-12 --to pages --open`

    A night belongs to the date on which its evening begins; it runs from noon to noon by the Sun.
    """
    from skyglint.report.gather import gather_night
    from skyglint.report.page import render_night
    from skyglint.store.store import Store

    wanted = _date(night)
    with Store.open(database, site_name=site) as store:
        page = gather_night(store, wanted)
    path = to / f"night-{page.date}.html"
    if wanted is None:
        typer.echo(f"The latest night in {database} is that of {page.date}.")
    _write(path, render_night(page), force)
    typer.echo(f"{path}: {page.site_name}, night of {page.date}")
    if open_page and not webbrowser.open(path.resolve().as_uri()):
        typer.echo("No browser was found to open it.", err=True)


def _date(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise RequestError(f"--date {text}: expected a date like 2026-08-12") from error


def _write(path: Path, text: str, force: bool) -> None:
    if path.exists() and not force:
        raise RequestError(f"{path}: is there already: give --force to overwrite it")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error
