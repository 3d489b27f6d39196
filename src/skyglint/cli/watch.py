"""``skyglint watch``: the unattended run."""

from __future__ import annotations

from typing import Annotated

import typer

from skyglint.cli.options import SiteArgument


def run(
    site: SiteArgument,
    pages: Annotated[bool, typer.Option("--pages/--no-pages", help="Serve the live pages.")] = True,
    log_json: Annotated[bool, typer.Option("--log-json", help="Log one JSON object a line.")] = False,
) -> None:
    """Watch all channels of the site, unattended, with live pages.

    Example: `skyglint watch site.toml`

    Capture and detection run in one process, the pages in another, and each is started again should it ever end. The
    database, snippets, hours and the pages' address stand in the site file. Ctrl-C ends it.
    """
    from skyglint.site import load_site
    from skyglint.station.watch import watch_site

    declared = load_site(site)
    if pages:
        typer.echo(f"Pages at http://{declared.pages.host}:{declared.pages.port}/ once they are up.", err=True)
    if status := watch_site(site, pages=pages, log_json=log_json):
        raise typer.Exit(status)
