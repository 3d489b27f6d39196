"""``skyglint scan``: the detection over recordings."""

from __future__ import annotations

import dataclasses
import sys
import time
from pathlib import Path
from typing import Annotated

import typer

from skyglint.cli.options import JsonOption, SiteArgument, utc_option
from skyglint.cli.progress import progress
from skyglint.errors import SourceError


def run(
    site: SiteArgument,
    recordings: Annotated[
        list[str], typer.Argument(metavar="RECORDING...", help="SigMF, WAV or raw samples.", show_default=False)
    ],
    into: Annotated[Path, typer.Option("--into", metavar="NIGHT.db", help="Database; made where it is missing.")],
    false_alarms: Annotated[
        float | None,
        typer.Option("--false-alarms", help="False echoes to accept in an hour of one channel (default 1)."),
    ] = None,
    encoding: Annotated[str | None, typer.Option(help="SigMF datatype of raw samples, such as cu8.")] = None,
    sample_rate_hz: Annotated[float | None, typer.Option(help="Sample rate of raw samples.")] = None,
    center_frequency_hz: Annotated[
        float | None, typer.Option(help="Radio frequency at the centre of raw samples or a WAV file.")
    ] = None,
    start: Annotated[
        str | None, typer.Option(help="UTC of the first sample, where the recording does not say.")
    ] = None,
    dial_frequency_hz: Annotated[
        float | None, typer.Option(help="Dial of a receiver in single-sideband mode whose audio was recorded.")
    ] = None,
    sideband: Annotated[str | None, typer.Option(help="usb or lsb, for recorded audio.")] = None,
    json: JsonOption = False,
) -> None:
    """Find, measure and store every echo in recordings.

    Example: `skyglint scan site.toml night-1.sigmf-meta night-2.sigmf-meta --into night.db`

    A recording is stored whole or not at all; scanning it again replaces its results.
    """
    from skyglint.echoes.settings import DetectionSettings
    from skyglint.signals.options import SourceOptions
    from skyglint.signals.sources import open_source
    from skyglint.site import load_site
    from skyglint.station.overhead import Overhead
    from skyglint.station.scan import scan_recording
    from skyglint.store.store import Store

    declared = load_site(site)
    overhead = Overhead(declared, site.resolve().parent)
    settings = DetectionSettings()
    if false_alarms is not None:
        if not 0 < false_alarms <= 1000:
            raise typer.BadParameter("expected above 0 to 1000 an hour", param_hint="--false-alarms")
        settings = dataclasses.replace(settings, false_alarms_per_channel_hour=false_alarms)
    for guard, other in declared.crowded_guards():
        typer.echo(
            f"{site}: guard {guard.name} overlaps {other.name}, whose echoes pass for interference then: move it",
            err=True,
        )
    options = SourceOptions(
        encoding=encoding,
        sample_rate_hz=sample_rate_hz,
        center_frequency_hz=center_frequency_hz,
        start_unix=utc_option(start, "--start"),
        dial_frequency_hz=dial_frequency_hz,
        sideband=sideband,  # type: ignore[arg-type]  # checked by the source
    )
    results, failures = [], []
    with Store.open(into, mode="create") as store:
        run_id = store.begin_run(
            declared.site.name,
            site.read_text(encoding="utf-8"),
            "scan " + " ".join(recordings),
            dataclasses.asdict(settings),
            time.time(),
        )
        for recording in recordings:
            try:
                source = open_source(recording, options)
                with progress(Path(recording).name, source.info.start_unix, source.info.end_unix) as told:
                    results.append(scan_recording(source, declared, store, run_id, settings, told, overhead=overhead))
            except SourceError as error:
                failures.append(str(error))
    if json:
        from skyglint.cli.scan_words import as_json

        typer.echo(as_json(results, failures))
    else:
        from skyglint.cli.scan_words import in_words

        for line in in_words(results, into):
            typer.echo(line)
    for failure in failures:
        print(failure, file=sys.stderr)
    if failures:
        raise typer.Exit(SourceError.exit_status)
