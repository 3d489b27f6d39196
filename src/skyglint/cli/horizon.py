"""``skyglint horizon``: the Earth-curvature experiment."""

from __future__ import annotations

import json as json_format
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from skyglint.cli.options import ForceOption, JsonOption, SiteArgument
from skyglint.errors import RequestError, SkyglintError

if TYPE_CHECKING:
    from skyglint.horizon.experiment import Experiment


def run(
    site: SiteArgument,
    levels: Annotated[
        list[Path] | None, typer.Option(metavar="FILE", help="Measured levels (CSV); repeatable, one a survey.")
    ] = None,
    transmitters: Annotated[Path | None, typer.Option(metavar="LIST", help="A list of transmitters.")] = None,
    night: Annotated[
        Path | None, typer.Option(metavar="NIGHT.db", help="A database of results: floors, heights, hours.")
    ] = None,
    survey: Annotated[
        bool, typer.Option("--survey", help="Measure the levels first and write them to the file of levels.")
    ] = False,
    recording: Annotated[
        list[str] | None,
        typer.Option(metavar="FILE", help="Survey this recording, not the receiver; repeatable, one a tuning."),
    ] = None,
    rounds: Annotated[int, typer.Option(min=1, help="How many times the survey passes over the band.")] = 1,
    seconds: Annotated[
        float, typer.Option(min=1.0, help="How long the survey listens at each tuning of the receiver.")
    ] = 20.0,
    full_scale_dbm: Annotated[
        float | None, typer.Option(help="Power that fills the converter, if you measured it.")
    ] = None,
    surface_height_m: Annotated[
        float | None,
        typer.Option(
            help="Height above the sea of the plain around; by default the levels decide between site and sea."
        ),
    ] = None,
    to: Annotated[Path | None, typer.Option("--to", metavar="DIR", help="Folder for the page.")] = None,
    json: JsonOption = False,
    force: ForceOption = False,
) -> None:
    """Weigh a round Earth against a plane from the levels of near and far transmitters.

    Example: `skyglint horizon home.toml --levels levels.csv --transmitters list.csv --to pages`

    The levels come from your own measurements or from --survey. It answers round, plane, or cannot tell.
    """
    from skyglint.horizon.experiment import run_experiment
    from skyglint.horizon.levels import read_levels
    from skyglint.site import load_site
    from skyglint.store.store import Store
    from skyglint.transmitters.files import read_list

    declared = load_site(site)
    if levels and transmitters is None:
        raise RequestError("--levels: needs --transmitters LIST, to know whose levels they are")
    page_path = None if to is None else to / "horizon.html"
    if page_path is not None and page_path.exists() and not force:
        raise RequestError(f"{page_path}: is there already: give --force to overwrite it")
    listing = None if transmitters is None else read_list(transmitters)
    known = [] if listing is None else listing.transmitters
    if survey:
        from skyglint.cli.horizon_survey import survey_to

        if not levels or len(levels) > 1:
            raise RequestError("--survey: needs --levels FILE to write to, just one, and --transmitters LIST")
        survey_to(levels[0], declared, known, recording or [], rounds, seconds, full_scale_dbm, surface_height_m, force)
    elif recording:
        raise RequestError("--recording: is for --survey")
    files = [read_levels(path) for path in levels or []]
    for rejection in [*(listing.rejections if listing else ()), *chain.from_iterable(f.rejections for f in files)]:
        print(rejection, file=sys.stderr)
    with ExitStack() as stack:
        store = None if night is None else stack.enter_context(Store.open(night, site_name=declared.site.name))
        measured = [level for file in files for level in file.levels]
        options: dict[str, Any] = {"surface_height_m": surface_height_m, "full_scale_dbm": full_scale_dbm}
        found = run_experiment(declared, known, measured, store, **options)
        if page_path is not None:
            from skyglint.report.horizon_page import gather_horizon, render_horizon

            page = gather_horizon(
                found, known, measured, store, _sources(levels or [], transmitters, night), full_scale_dbm
            )
            _write(page_path, render_horizon(page))
    if json:
        from skyglint.cli.horizon_words import as_document

        typer.echo(json_format.dumps(as_document(found), allow_nan=False))
    else:
        _print(found)
    if page_path is not None:
        typer.echo(f"{page_path}: {declared.site.name}, the horizon experiment", err=json)


def _print(found: Experiment) -> None:
    from skyglint.cli.horizon_words import in_words

    for line in in_words(found):
        typer.echo(line)


def _sources(levels: Sequence[Path], transmitters: Path | None, night: Path | None) -> list[str]:
    named = (*(("Levels", path) for path in levels), ("Transmitters", transmitters), ("Results", night))
    return [f"{what}: {path.name}." for what, path in named if path is not None]


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error
