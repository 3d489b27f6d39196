"""The survey of ``skyglint horizon --survey``."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from skyglint.cli.progress import progress
from skyglint.errors import RequestError, SkyglintError

if TYPE_CHECKING:
    from skyglint.horizon.levels import Level
    from skyglint.horizon.silence import Scale
    from skyglint.signals.block import Source
    from skyglint.site import Kind, Site
    from skyglint.station.survey import Reading
    from skyglint.transmitters.transmitter import Transmitter


def survey_to(
    path: Path,
    site: Site,
    transmitters: Sequence[Transmitter],
    recordings: Sequence[str],
    rounds: int,
    seconds: float,
    full_scale_dbm: float | None,
    surface_height_m: float | None,
    force: bool,
) -> None:
    """Measure the listed stations' levels from recordings, or else from the receiver, and write them to a file."""
    from skyglint.horizon.levels import write_levels
    from skyglint.horizon.matching import Candidates
    from skyglint.station.survey import survey_source
    from skyglint.station.survey_levels import levels_of

    if path.exists() and not force:
        raise RequestError(f"{path}: is there already: give --force to overwrite it, or leave --survey out to use it")
    surface = site.site.height_m if surface_height_m is None else surface_height_m
    candidates = Candidates.of(site, transmitters, surface)
    if not candidates.transmitters:
        raise RequestError("--survey: the list has no transmitter near enough to survey")
    listed: dict[float, Kind] = {}
    codes: dict[float, list[str]] = {}
    # Where both stand on one frequency, FM is the wider.
    for one in sorted(candidates.transmitters, key=lambda one: one.kind == "fm"):
        listed[one.frequency_hz] = one.kind
        codes.setdefault(one.frequency_hz, []).append(one.rds_pi)
    readings: list[Reading] = []
    levels: list[Level] = []
    scale: Scale | None = None
    for source, longest_s in _sources(site, recordings, sorted(listed), rounds, seconds):
        info = source.info
        end_unix = info.start_unix + longest_s if math.isfinite(longest_s) else info.end_unix
        with progress(info.name, info.start_unix, end_unix) as told:
            readings += survey_source(source, listed, codes, site.receiver.correction_ppm, longest_s, told)
        levels, scale = levels_of(readings, candidates, full_scale_dbm)
        # Written after each tuning: a survey that is stopped keeps what it has.
        _write(path, write_levels(levels))
    if scale is None:
        path.unlink(missing_ok=True)
        raise SkyglintError("--survey: no listed station lies within what was received")
    limits = sum(level.is_limit for level in levels)
    typer.echo(
        f"{path}: {len(levels)} levels of {len({level.frequency_hz for level in levels})} frequencies, {limits} of "
        f"them upper limits; full scale is {scale.full_scale_dbm:.0f} ± {scale.sd_db:.0f} dBm, {scale.how}.",
        err=True,
    )


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error


def _sources(
    site: Site, recordings: Sequence[str], frequencies_hz: Sequence[float], rounds: int, seconds: float
) -> Iterator[tuple[Source, float]]:
    """Yield what to read and for how long: the recordings whole, or the receiver at one tuning after another."""
    from skyglint.signals.options import SourceOptions
    from skyglint.signals.sources import open_source
    from skyglint.station.survey import tunings_hz

    if recordings:
        for recording in recordings:
            yield open_source(recording), math.inf
        return
    receiver = site.receiver
    if "://" not in receiver.source:
        raise RequestError(f"--survey: [receiver] source is {receiver.source}: give recordings with --recording")
    if isinstance(receiver.gain_db, str):
        raise RequestError("--survey: [receiver] gain_db is auto: levels need a fixed gain, a number of decibels")
    for _ in range(rounds):
        for center_hz in tunings_hz(frequencies_hz, receiver.sample_rate_hz):
            options = SourceOptions(
                sample_rate_hz=receiver.sample_rate_hz, center_frequency_hz=center_hz, gain_db=receiver.gain_db
            )
            yield open_source(receiver.source, options), seconds
