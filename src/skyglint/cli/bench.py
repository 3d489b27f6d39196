"""``skyglint bench``: the speed of this machine on this pipeline."""

from __future__ import annotations

import json as json_module
import os
import subprocess
import sys
from typing import Annotated, Any

import typer

from skyglint.cli.options import JsonOption
from skyglint.errors import SkyglintError

#: One thread: the figure is for one core, whatever the libraries underneath would like.
_ONE_THREAD = {
    name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
}


def run(
    plain: Annotated[bool, typer.Option("--plain", help="Without the compiled kernels.")] = False,
    accuracy: Annotated[
        bool, typer.Option("--accuracy", help="Instead, measure the detector on simulated nights; takes many minutes.")
    ] = False,
    part: Annotated[
        list[str] | None, typer.Option("--part", help="One part of --accuracy only; may be repeated.")
    ] = None,
    effort: Annotated[
        float, typer.Option(min=0.05, max=10.0, help="Scale the number of simulated events for --accuracy.")
    ] = 1.0,
    seed: Annotated[int, typer.Option(min=0, help="Of the simulated nights.")] = 1,
    json: JsonOption = False,
) -> None:
    """Measure how fast this machine scans, against a bare FFT over the same samples.

    Example: `skyglint bench --json`, `skyglint bench --accuracy --part classes --effort 0.2`

    A whole scan of 8-bit I/Q at 2.4 MS/s with 12 FM channels, on one core. With --accuracy: how completely and truly
    the detector finds, measures and classifies, beside what theory allows.
    """
    if accuracy:
        _show_accuracy(seed, effort, part or [], json)
        return
    speed = _measured(["plain"] if plain else [])
    if json:
        typer.echo(json_module.dumps(speed, indent=2))
        return
    typer.echo(
        f"A whole scan of 2.4 MS/s with 12 FM channels takes {speed['scan_ratio_to_bare_fft']:.2f} times as long as a "
        f"bare FFT over the same samples ({speed['kernels']} kernels, one core).\n"
        f"It runs at {speed['scan_times_real_time']:.0f} times real time; the bare FFT at "
        f"{speed['bare_fft_times_real_time']:.0f} times.\n"
        f"Largest memory: {speed['peak_rss_mb']:.0f} MB."
    )


def _show_accuracy(seed: int, effort: float, parts: list[str], as_json: bool) -> None:
    from dataclasses import asdict

    from skyglint.station.accuracy.summary import accuracy_figures

    found: dict[str, Any] = {}
    for name, figure in accuracy_figures(seed, effort, parts):
        numbers = asdict(figure)
        if as_json:
            found[name] = numbers
        else:
            single = [f"{key} {value:.3g}" for key, value in numbers.items() if isinstance(value, int | float)]
            typer.echo(f"{name}: {', '.join(single)}")
            sys.stdout.flush()
    if as_json:
        typer.echo(json_module.dumps(found, indent=2, default=lambda array: array.tolist()))


def _measured(arguments: list[str]) -> dict[str, Any]:
    # A process of its own: the libraries read the number of threads once, when they are first loaded.
    command = [sys.executable, "-m", "skyglint.station.bench", *arguments]
    done = subprocess.run(command, env={**os.environ, **_ONE_THREAD}, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SkyglintError(f"the measurement failed: {done.stderr.strip().splitlines()[-1:] or 'no message'}")
    result: dict[str, Any] = json_module.loads(done.stdout)
    return result
