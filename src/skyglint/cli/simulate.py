"""``skyglint simulate``: a recording with known truth."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import ForceOption
from skyglint.cli.progress import progress


def run(
    scenario: Annotated[Path, typer.Argument(metavar="SCENARIO", help="The scenario file (TOML).", show_default=False)],
    to: Annotated[
        Path,
        typer.Option("--to", metavar="RECORDING", help="Name of the recording to write (SigMF).", show_default=False),
    ],
    seed: Annotated[
        int | None,
        typer.Option(min=0, help="Seed of everything random, instead of the scenario's.", show_default=False),
    ] = None,
    force: ForceOption = False,
) -> None:
    """Make a recording with known truth from a scenario.

    Writes RECORDING.sigmf-meta, RECORDING.sigmf-data and RECORDING.truth.csv.

    Example: `skyglint simulate scenario.toml --to morning`
    """
    from skyglint.simulate import load_scenario, simulate
    from skyglint.simulate.truth import truth_path

    declared = load_scenario(scenario)
    with progress("simulating", 0.0, 1.0) as told:
        truth = simulate(declared, to, seed, force=force, progress=told)
    typer.echo(f"{to}: {declared.recording.duration_s:g} s with {len(truth.events)} events; truth in {truth_path(to)}")
