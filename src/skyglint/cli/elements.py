"""``skyglint elements``: orbital elements from an address, when the operator asks for them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import ForceOption
from skyglint.cli.output import check_free


def run(
    url: Annotated[str, typer.Argument(metavar="URL", help="Address of OMM or two-line elements.", show_default=False)],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="Where the elements are kept.")],
    max_age_h: Annotated[
        float, typer.Option("--max-age-h", help="Do not ask again within this time.", min=0.5, max=24.0 * 30)
    ] = 6.0,
    force: ForceOption = False,
) -> None:
    """Fetch orbital elements from an address that you give, unless the file is fresh.

    Example: `skyglint elements https://orbits.example/weather.json --to elements.json`

    The server is told which state you have and sends nothing when it has no newer. What is not elements never replaces
    the file.
    """
    import time

    from skyglint.report.numbers import counted, span
    from skyglint.station.fetch import check_url, fetch_elements, read_note

    check_url(url)
    note = read_note(to)
    if note is None or note.url != url:
        check_free(to, force)
    result = fetch_elements(url, to, max_age_h * 3600.0, time.time())
    for line in result.rejected:
        typer.echo(line, err=True)
    words = {
        "fetched": f"{counted(result.objects, 'object', 'objects')} fetched",
        "unchanged": "the server has nothing newer",
        "fresh": f"asked {span(result.age_s)} ago: not asked again within {max_age_h:g} h",
    }
    typer.echo(f"{to}: {words[result.outcome]}")
