"""``skyglint passes``: satellite passes with direct and scattered Doppler shifts."""

from __future__ import annotations

import json as json_format
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from skyglint.cli.options import ForceOption, JsonOption, SiteArgument, utc_option
from skyglint.cli.output import check_free, write_file
from skyglint.errors import RequestError

if TYPE_CHECKING:
    from skyglint.plan.satellite_passes import SatellitePass


def run(
    site: SiteArgument,
    elements: Annotated[
        list[Path],
        typer.Option("--elements", metavar="FILE", help="OMM or two-line elements; may be given again."),
    ],
    start: Annotated[str | None, typer.Option(help="UTC to begin with (default: now).", metavar="UTC")] = None,
    hours: Annotated[float, typer.Option(help="How long from there.", min=0.01, max=24.0 * 30)] = 24.0,
    name: Annotated[
        str | None, typer.Option(help="Only objects whose name contains this, or with this number.")
    ] = None,
    least_elevation_deg: Annotated[
        float, typer.Option("--least-elevation-deg", help="Leave out passes that stay lower.", min=0.0, max=90.0)
    ] = 0.0,
    beacon_hz: Annotated[
        float | None, typer.Option("--beacon-hz", help="Frequency of the satellite's own signal.", min=1.0)
    ] = None,
    step_s: Annotated[float, typer.Option("--step-s", help="Time between points of a track.", min=0.1, max=600)] = 10.0,
    cross_section_m2: Annotated[
        float | None, typer.Option("--cross-section-m2", help="Radar cross-section to assume (default 100).", min=1e-6)
    ] = None,
    calendar: Annotated[
        Path | None, typer.Option("--calendar", metavar="FILE", help="Write the passes as iCalendar.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="HTML", help="Write a page with sky tracks and Doppler curves.")
    ] = None,
    tag: Annotated[
        Path | None,
        typer.Option("--tag", metavar="NIGHT.db", help="Tag the echoes of the span that a pass could explain."),
    ] = None,
    json: JsonOption = False,
    force: ForceOption = False,
) -> None:
    """Print when satellites pass, where to look, and whether they could reflect a target channel.

    Example: `skyglint passes home.toml --elements today.xml --beacon-hz 137100000 --calendar passes.ics`

    Elements come from files; nothing is fetched. The Doppler shift of a reflection is that of the way from the
    transmitter to the satellite to the site.
    """
    import time

    from skyglint.cli.passes_words import as_document, as_icalendar, as_lines
    from skyglint.plan.reflection import LARGE_SPACECRAFT_M2
    from skyglint.plan.satellite_passes import predict
    from skyglint.report.passes_page import PassesPage, render_passes
    from skyglint.site import load_site
    from skyglint.sky.orbits.reading import load_elements

    for path in (calendar, to):
        if path is not None:
            check_free(path, force)
    if tag is not None and start is None:
        raise RequestError("--tag: expected --start as well: the span whose echoes are to be tagged")
    place = load_site(site)
    found = load_elements(elements)
    for line in found.rejected:
        typer.echo(line, err=True)
    chosen = [one for one in found.elements if one.matches(name or "")]
    if not chosen:
        raise RequestError(f"--name {name}: no such object among the {len(found.elements)} in the files")
    now_unix = time.time()
    asked = utc_option(start, "--start")
    start_unix = now_unix if asked is None else asked
    end_unix = start_unix + hours * 3_600.0
    beacon = math.nan if beacon_hz is None else beacon_hz
    cross_section = LARGE_SPACECRAFT_M2 if cross_section_m2 is None else cross_section_m2
    passes = predict(
        place,
        chosen,
        start_unix,
        end_unix,
        least_elevation_deg=least_elevation_deg,
        beacon_hz=beacon,
        step_s=step_s,
        cross_section_m2=cross_section,
    )
    for warning in dict.fromkeys(one.warning for one in passes if one.warning):
        typer.echo(warning, err=True)
    if calendar is not None:
        write_file(calendar, as_icalendar(passes, place, now_unix), force)
        typer.echo(f"{calendar}: {len(passes)} passes", err=json)
    if to is not None:
        page = PassesPage(place, start_unix, end_unix, tuple(passes), beacon, cross_section)
        write_file(to, render_passes(page), force)
        typer.echo(f"{to}: {len(passes)} passes", err=json)
    if tag is not None:
        typer.echo(_tag(tag, passes, [str(one.catalog_number) for one in chosen], start_unix, end_unix), err=json)
    if json:
        typer.echo(json_format.dumps(as_document(passes), allow_nan=False))
    else:
        from rich.console import Console

        console = Console(width=None if sys.stdout.isatty() else 80, highlight=False)
        for part in as_lines(passes, place, hours):
            console.print(part)


def _tag(
    database: Path, passes: Sequence[SatellitePass], numbers: list[str], start_unix: float, end_unix: float
) -> str:
    """Tag anew: what an earlier tagging said of these satellites in this span is replaced."""
    from skyglint.plan.satellite_tags import satellite_tags
    from skyglint.report.numbers import counted
    from skyglint.store import Store

    with Store.open(database, "write") as store:
        echoes = store.echoes(start_unix, end_unix)
        found = list(satellite_tags(passes, echoes))
        store.retag([one.id for one in echoes], "satellite", numbers, found)
    tagged = len({echo_id for echo_id, _ in found})
    return f"{database}: {tagged} of {counted(len(echoes), 'echo', 'echoes')} tagged"
