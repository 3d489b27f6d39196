"""``skyglint follow``: whether the satellite was there."""

from __future__ import annotations

import json as json_format
import math
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from skyglint.cli.options import JsonOption, SiteArgument, utc_option
from skyglint.cli.progress import progress
from skyglint.errors import RequestError

if TYPE_CHECKING:
    from skyglint.signals.options import SourceOptions
    from skyglint.site import Channel, Site
    from skyglint.sky.orbits.elements import Elements
    from skyglint.station.follow import Following


def run(
    site: SiteArgument,
    elements: Annotated[
        list[Path],
        typer.Option("--elements", metavar="FILE", help="OMM or two-line elements; may be given again."),
    ],
    recording: Annotated[
        str | None,
        typer.Argument(
            metavar="RECORDING", help="SigMF, WAV or raw; with --live a receiver's address.", show_default=False
        ),
    ] = None,
    live: Annotated[
        bool, typer.Option("--live", help="Follow the next pass on the site's receiver, as it happens.")
    ] = False,
    name: Annotated[str | None, typer.Option(help="The object, by part of its name or by its number.")] = None,
    beacon_hz: Annotated[
        float | None, typer.Option("--beacon-hz", help="Frequency of the satellite's own signal.", min=1.0)
    ] = None,
    channel: Annotated[
        str | None, typer.Option(help="Look for the reflection of this channel's transmitter instead.")
    ] = None,
    encoding: Annotated[str | None, typer.Option(help="SigMF datatype of raw samples, such as cu8.")] = None,
    sample_rate_hz: Annotated[float | None, typer.Option(help="Sample rate of raw samples.")] = None,
    center_frequency_hz: Annotated[
        float | None, typer.Option(help="Radio frequency at the centre of raw samples or a WAV file.")
    ] = None,
    start: Annotated[
        str | None, typer.Option(help="UTC of the first sample, where the recording does not say.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Search a recording along the predicted Doppler curve, and say how often chance does as well.

    Example: `skyglint follow home.toml pass.sigmf-meta --elements today.xml --beacon-hz 137100000`

    For an FM channel, whose programme hides any curve, the power is tested against the expected rise and fall.

    Small errors of the elements' time and of the oscillators are searched and measured. Chance is measured along bent
    curves in the same recording. With --live the receiver is read through the next pass of the objects named, and
    nothing of it is kept but the powers around the curve.
    """
    from skyglint.signals.options import SourceOptions
    from skyglint.site import load_site
    from skyglint.sky.orbits.reading import load_elements

    place = load_site(site)
    found = load_elements(elements)
    for line in found.rejected:
        typer.echo(line, err=True)
    reflecting = _channel(place, beacon_hz, channel)
    if reflecting is not None and reflecting.satellite is not None:
        name, beacon_hz, reflecting = name or str(reflecting.satellite), reflecting.frequency_hz, None
    wanted = [one for one in found.elements if one.matches(name or "")]
    options = SourceOptions(
        encoding=encoding,
        sample_rate_hz=sample_rate_hz,
        center_frequency_hz=center_frequency_hz,
        start_unix=utc_option(start, "--start"),
    )
    if live:
        result = _live(place, site.resolve().parent, recording, wanted, reflecting, beacon_hz or math.nan)
    else:
        result = _recorded(place, recording, options, wanted, name or "", reflecting, beacon_hz or math.nan)
    typer.echo(json_format.dumps(_document(result), allow_nan=False) if json else result.sentence)


def _recorded(
    site: Site,
    recording: str | None,
    options: SourceOptions,
    wanted: list[Elements],
    name: str,
    reflecting: Channel | None,
    beacon_hz: float,
) -> Following:
    from skyglint.plan.satellite_passes import transmitter_place
    from skyglint.signals.sources import open_source
    from skyglint.station.follow import follow
    from skyglint.station.follow_power import follow_power

    if recording is None:
        raise RequestError("RECORDING is missing: expected one, or --live")
    if len(wanted) != 1:
        names = ", ".join(one.name for one in wanted[:5]) or "none"
        raise RequestError(f"--name {name}: {len(wanted)} objects ({names}): expected one")
    source = open_source(recording, options)
    with progress(Path(recording).name, source.info.start_unix, source.info.end_unix) as told:
        if reflecting is None:
            return follow(source, site, wanted[0], beacon_hz, told=told)
        if reflecting.kind == "fm":
            return follow_power(source, site, wanted[0], reflecting, told=told)
        return follow(source, site, wanted[0], reflecting.frequency_hz, transmitter_place(reflecting), told=told)


def _live(
    site: Site,
    folder: Path,
    address: str | None,
    wanted: list[Elements],
    reflecting: Channel | None,
    beacon_hz: float,
) -> Following:
    import time

    from skyglint.plan.satellite_passes import transmitter_place
    from skyglint.station.follow_live import follow_next, next_pass
    from skyglint.station.receiver import receiver_of
    from skyglint.utc import format_utc

    if not wanted:
        raise RequestError("--name: no such object in the files")
    if address is not None:
        site = site.model_copy(update={"receiver": site.receiver.model_copy(update={"source": address})})
    coming = next_pass(site, wanted, transmitter_place(reflecting) if reflecting else None, time.time())
    begins, ends = (format_utc(unix, 0) for unix in (coming.start_unix, coming.end_unix))
    typer.echo(f"{coming.elements.name}: in sight from {begins} to {ends}", err=True)
    with progress(coming.elements.name, coming.start_unix, coming.end_unix) as told:
        opened = partial(receiver_of, site, folder)
        return follow_next(opened, site, coming, beacon_hz, reflecting, time.time, time.sleep, told)


def _channel(site: Site, beacon_hz: float | None, name: str | None) -> Channel | None:
    """Return the channel whose reflection is looked for, or ``None`` for a beacon."""
    if (beacon_hz is None) == (name is None):
        raise RequestError("expected either --beacon-hz or --channel")
    if name is None:
        return None
    channel = next((one for one in site.channel if one.name == name), None)
    if channel is None:
        raise RequestError(f"--channel {name}: expected one of {', '.join(one.name for one in site.channel)}")
    if channel.latitude_deg is None and channel.satellite is None:
        raise RequestError(f"--channel {name}: the site file does not say where its transmitter stands")
    return channel


def _document(result: Following) -> dict[str, Any]:
    from skyglint.utc import format_utc

    curve = zip(result.measured_unix, result.measured_hz, result.residual_hz, strict=True)
    return {
        "detected": result.detected,
        "statistic": _number(result.statistic),
        "false_alarm_probability": result.false_alarm_probability,
        "time_offset_s": _number(result.time_offset_s),
        "time_offset_sd_s": _number(result.time_offset_sd_s),
        "frequency_offset_hz": _number(result.frequency_offset_hz),
        "frequency_offset_sd_hz": _number(result.frequency_offset_sd_hz),
        "drift_hz": _number(result.drift_hz),
        "drift_sd_hz": _number(result.drift_sd_hz),
        "start_utc": format_utc(result.start_unix),
        "end_utc": format_utc(result.end_unix),
        "middle_utc": format_utc(result.middle_unix) or None,
        "closest_approach_utc": format_utc(result.closest_unix) or None,
        "sentence": result.sentence,
        "curve": [
            {"utc": format_utc(float(unix)), "doppler_hz": round(float(hz), 3), "residual_hz": round(float(left), 3)}
            for unix, hz, left in curve
        ],
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 6)
