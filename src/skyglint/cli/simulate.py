"""The command ``simulate``: a recording with known truth."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from skyglint.simulate import load_scenario, simulate
from skyglint.simulate.truth import truth_path


def run(
    scenario: Annotated[Path, typer.Argument(help="The scenario file (TOML).", show_default=False)],
    to: Annotated[Path, typer.Option("--to", help="Name of the recording to write (SigMF).", show_default=False)],
    seed: Annotated[
        int | None,
        typer.Option(min=0, help="Seed of everything random, instead of the scenario's.", show_default=False),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace an existing recording.")] = False,
) -> None:
    """Make a recording with known truth from a scenario.

    Writes RECORDING.sigmf-meta, RECORDING.sigmf-data and RECORDING.truth.csv.

    Example: `skyglint simulate scenario.toml --to morning`
    """
    from rich.console import Console
    from rich.progress import Progress

    declared = load_scenario(scenario)
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("simulating", total=1.0)
        truth = simulate(declared, to, seed, force=force, progress=lambda done: bar.update(task, completed=done))
    typer.echo(f"{to}: {declared.recording.duration_s:g} s with {len(truth.events)} events; truth in {truth_path(to)}")
