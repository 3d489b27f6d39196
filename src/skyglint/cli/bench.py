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
    viewers: Annotated[
        int | None, typer.Option(min=1, max=990, help="Instead, watch a replay with so many viewers of the live page.")
    ] = None,
    seconds: Annotated[float, typer.Option(min=5, help="How long the viewers watch.")] = 60.0,
    burst_every_s: Annotated[float, typer.Option(min=0.5, help="Time between strong bursts for --viewers.")] = 5.0,
    json: JsonOption = False,
) -> None:
    """Measure how fast this machine scans, against a bare FFT over the same samples.

    Example: `skyglint bench --json`, `skyglint bench --accuracy --part classes --effort 0.2`, `skyglint bench --viewers
    500`

    A whole scan of 8-bit I/Q at 2.4 MS/s with 12 FM channels, on one core. With --accuracy: how completely and truly
    the detector finds, measures and classifies, beside what theory allows. With --viewers: the whole chain, from a
    replay of 2.4 MS/s with 12 channels over engine and pages to a crowd; nothing else should run meanwhile.
    """
    if viewers is not None:
        _show_crowd(viewers, seconds, burst_every_s, json)
        return
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
    from skyglint.station.accuracy.summary import accuracy_figures, figure_numbers, figure_text

    found: dict[str, Any] = {}
    for name, figure in accuracy_figures(seed, effort, parts):
        if as_json:
            found[name] = figure_numbers(figure)
        else:
            typer.echo(figure_text(name, figure))
            sys.stdout.flush()
    if as_json:
        typer.echo(json_module.dumps(found, indent=2, default=lambda array: array.tolist()))


def _show_crowd(viewers: int, seconds: float, burst_every_s: float, as_json: bool) -> None:
    from dataclasses import asdict

    from skyglint.station.crowd import measure_crowd

    crowd = measure_crowd(viewers, seconds, burst_every_s)
    if as_json:
        typer.echo(json_module.dumps(asdict(crowd), indent=2))
        return
    sleeper = "was dropped" if crowd.sleeper_dropped else "was not dropped"
    typer.echo(
        f"{crowd.viewers} viewers for {crowd.seconds:.0f} s: a reading came {1e3 * crowd.delay_median_s:.0f} ms after "
        f"its samples (median; 99 % within {1e3 * crowd.delay_99_s:.0f} ms, all within {1e3 * crowd.delay_max_s:.0f} "
        f"ms).\nEach got {crowd.readings_least} to {crowd.readings_most} readings; the longest pause between two was "
        f"{crowd.longest_pause_s:.2f} s. {crowd.viewers_dropped} were dropped; one that stopped reading {sleeper}.\n"
        f"{crowd.echoes} echoes, {crowd.bursts_per_minute:.0f} bursts a minute: told {crowd.echo_delay_median_s:.1f} s "
        f"after their end (median; all within {crowd.echo_delay_max_s:.1f} s), and on disk by then.\n"
        f"{crowd.lost_s:.2f} s of samples were lost. The engine took {100 * crowd.engine_cores:.0f} % of a core and "
        f"{crowd.engine_mb:.0f} MB ({crowd.engine_growth_mb:+.0f} MB meanwhile), the pages "
        f"{100 * crowd.pages_cores:.0f} % and {crowd.pages_mb:.0f} MB ({crowd.pages_growth_mb:+.0f} MB)."
    )


def _measured(arguments: list[str]) -> dict[str, Any]:
    # A process of its own: the libraries read the number of threads once, when they are first loaded.
    command = [sys.executable, "-m", "skyglint.station.bench", *arguments]
    done = subprocess.run(command, env={**os.environ, **_ONE_THREAD}, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SkyglintError(f"the measurement failed: {done.stderr.strip().splitlines()[-1:] or 'no message'}")
    result: dict[str, Any] = json_module.loads(done.stdout)
    return result
