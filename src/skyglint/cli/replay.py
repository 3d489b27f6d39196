"""``skyglint replay``: a recording served as a network receiver."""

from __future__ import annotations

from typing import Annotated

import typer

from skyglint.cli.options import utc_option


def run(
    recording: Annotated[str, typer.Argument(metavar="RECORDING", help="SigMF, WAV I/Q or raw samples.")],
    listen: Annotated[str, typer.Option(metavar="HOST:PORT", help="Where to listen.")] = "127.0.0.1:1234",
    loop: Annotated[bool, typer.Option("--loop", help="Begin anew at the end.")] = False,
    speed: Annotated[float, typer.Option(help="Times real time; inf for as fast as the client reads.")] = 1.0,
    encoding: Annotated[str | None, typer.Option(help="SigMF datatype of raw samples, such as cu8.")] = None,
    sample_rate_hz: Annotated[float | None, typer.Option(help="Sample rate of raw samples.")] = None,
    center_frequency_hz: Annotated[
        float | None, typer.Option(help="Radio frequency at the centre of raw samples or a WAV file.")
    ] = None,
    start: Annotated[
        str | None, typer.Option(help="UTC of the first sample, where the recording does not say.")
    ] = None,
) -> None:
    """Serve a recording as a network receiver, to one program at a time.

    Example: `skyglint replay night.sigmf-meta --listen 127.0.0.1:1234 --loop`, and in the site file
    `source = "rtltcp://127.0.0.1:1234"`

    The recording goes on where it stood when a program leaves. Keep to 127.0.0.1 unless others are meant to listen:
    the protocol knows no passwords.
    """
    from skyglint.signals.options import SourceOptions
    from skyglint.signals.replay import Replay, listening_address
    from skyglint.signals.sources import open_source

    options = SourceOptions(encoding, sample_rate_hz, center_frequency_hz, utc_option(start, "--start"))
    source = open_source(recording, options)
    host, port = listening_address(listen)
    replay = Replay(source, host, port, loop=loop, speed=speed, notice=lambda line: typer.echo(line, err=True))
    typer.echo(
        f"rtltcp://{replay.address} serves {source.info.name}: centre {source.info.center_frequency_hz:.0f} Hz, "
        f"{source.info.sample_rate_hz:.0f} samples a second; Ctrl-C ends it"
    )
    try:
        replay.serve()
    except KeyboardInterrupt:
        typer.echo("stopped", err=True)
