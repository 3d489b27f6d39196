"""``skyglint plan``: which transmitter, and where to point."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import ForceOption, JsonOption, SiteArgument
from skyglint.cli.output import check_free, write_file
from skyglint.errors import RequestError


def run(
    site: SiteArgument,
    transmitters: Annotated[
        list[Path] | None,
        typer.Option("--transmitters", metavar="LIST", help="A transmitter list; may be given several times."),
    ] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Use the invented list that comes with the program.")] = False,
    radius_km: Annotated[float, typer.Option(min=50, max=2200, help="How far candidates may be.")] = 1500.0,
    best: Annotated[int, typer.Option(min=1, max=500, help="How many candidates to work out in full.")] = 50,
    environment: Annotated[
        str | None,
        typer.Option(help="Man-made noise in place of the site file's: city, residential, rural or quiet rural."),
    ] = None,
    noise_figure_db: Annotated[float, typer.Option(min=0, max=30, help="Of the receiver.")] = 6.0,
    month: Annotated[int | None, typer.Option(min=1, max=12, help="1 to 12; else the mean of the year.")] = None,
    targets: Annotated[int, typer.Option(min=1, max=12, help="How many targets to propose.")] = 3,
    terrain: Annotated[
        Path | None, typer.Option(metavar="CSV", help="The site's horizon: azimuth_deg,elevation_deg.")
    ] = None,
    surface_height_m: Annotated[
        float, typer.Option(help="Height of the smooth Earth above the sea: that of the plain around the site.")
    ] = 0.0,
    rows: Annotated[int, typer.Option("--rows", min=1, help="How many candidates the table shows.")] = 15,
    row: Annotated[
        float | None, typer.Option("--row", min=0, max=360, help="Bearing of the row to show; else the richest.")
    ] = None,
    to: Annotated[Path | None, typer.Option("--to", metavar="HTML", help="Write the page.")] = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the candidates as CSV.")] = None,
    write: Annotated[
        Path | None,
        typer.Option("--write", metavar="SITE", help="Write a site file with the proposed channels."),
    ] = None,
    force: ForceOption = False,
    json: JsonOption = False,
) -> None:
    """Rank what to listen to, with reasons, and propose a set of channels.

    Example: `skyglint plan site.toml --transmitters stations.csv --to plan.html --write planned.toml`

    Lists: our own CSV (name, frequency_hz, kind, latitude_deg, longitude_deg, power_w), the text output or the tables
    of the US register, Canada's extract, the British and the Australian sheet. Bad rows are reported by line.
    """
    from skyglint.plan.channels import channel_blocks, load_planning_site, with_channels
    from skyglint.plan.documents import plan_csv, plan_document
    from skyglint.plan.lists import gather, list_words
    from skyglint.plan.planning import make_plan
    from skyglint.plan.selection import propose
    from skyglint.plan.settings import plan_settings

    declared = load_planning_site(site)
    for path in (to, csv, write):
        if path is not None:
            check_free(path, force)
    settings = plan_settings(
        radius_km=radius_km,
        best=best,
        environment=environment or declared.site.environment,
        noise_figure_db=noise_figure_db,
        month=month,
        targets=targets,
        terrain=terrain,
        surface_height_m=surface_height_m,
    )
    gathered = gather(transmitters or [], demo=demo)
    for rejection in gathered.rejections[:_SHOWN_REJECTIONS]:
        typer.echo(str(rejection), err=True)
    if len(gathered.rejections) > _SHOWN_REJECTIONS:
        typer.echo(f"... and {len(gathered.rejections) - _SHOWN_REJECTIONS} more bad rows", err=True)
    plan = make_plan(declared, gathered.transmitters, settings)
    proposal = propose(plan)
    if json:
        from json import dumps

        typer.echo(dumps(plan_document(plan, proposal, row), ensure_ascii=False, allow_nan=False))
    else:
        from skyglint.cli.plan_words import show

        show(plan, proposal, list_words(gathered), rows, row)
    if csv is not None:
        write_file(csv, plan_csv(plan), force)
    if to is not None:
        from skyglint.report.plan_page import PlanPage, render_plan

        blocks = channel_blocks(proposal) if proposal else ""
        write_file(to, render_plan(PlanPage(plan, proposal, blocks, list_words(gathered), row)), force)
    if proposal is None:
        if write is not None:
            raise RequestError("--write: there is no set to propose: no candidate has an own echo a day to offer")
        raise typer.Exit(1)
    if write is not None:
        write_file(write, with_channels(site.read_text(encoding="utf-8"), proposal, str(site)), force)


_SHOWN_REJECTIONS = 20
