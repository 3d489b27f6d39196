"""``skyglint aim``: azimuth and elevation for one transmitter, or the best compromise for several."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import ForceOption, JsonOption, SiteArgument
from skyglint.cli.output import check_free, write_file


def run(
    site: SiteArgument,
    channel: Annotated[
        list[str] | None,
        typer.Option(
            "--channel", metavar="NAME", help="Aim at this channel's transmitter; may be given several times."
        ),
    ] = None,
    declination: Annotated[
        float | None,
        typer.Option("--declination", min=-180, max=180, help="Magnetic declination at the site, east positive."),
    ] = None,
    environment: Annotated[
        str | None,
        typer.Option(help="Man-made noise in place of the site file's: city, residential, rural or quiet rural."),
    ] = None,
    terrain: Annotated[
        Path | None, typer.Option(metavar="CSV", help="The site's horizon: azimuth_deg,elevation_deg.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="HTML", help="Write a page with a picture of the sky.")
    ] = None,
    force: ForceOption = False,
    json: JsonOption = False,
) -> None:
    """Say where to point the antenna: for the named channels, or for all targets.

    Example: `skyglint aim site.toml --channel north-sea --declination -0.7`
    """
    from skyglint.plan import notes
    from skyglint.plan.aim_report import aim_document, aim_report
    from skyglint.plan.settings import PlanSettings, plan_settings
    from skyglint.report.aim_page import aim_sentences, render_aim
    from skyglint.site import load_site

    declared = load_site(site)
    if to is not None:
        check_free(to, force)
    usual = PlanSettings()
    settings = plan_settings(
        radius_km=usual.radius_km,
        best=usual.best,
        environment=environment or declared.site.environment,
        noise_figure_db=usual.noise_figure_db,
        month=None,
        targets=usual.targets,
        terrain=terrain,
        surface_height_m=usual.surface_height_m,
    )
    report = aim_report(declared, channel or [], settings, declination)
    if to is not None:
        write_file(to, render_aim(report), force)
    if json:
        from json import dumps

        typer.echo(dumps(aim_document(report), ensure_ascii=False, allow_nan=False))
        return
    for sentence in aim_sentences(report):
        typer.echo(sentence)
    if declination is None:
        typer.echo(notes.DECLINATION)
    typer.echo(notes.ACCURACY)
    typer.echo("Before you build: " + " ".join(notes.SAFETY))
