"""Measuring what ``check`` judges: a few seconds from the receiver, and the computer it hangs on."""

from __future__ import annotations

import math
import shutil
import subprocess
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from skyglint.decibels import power_to_db
from skyglint.dsp.bank import FilterBank
from skyglint.errors import SourceError
from skyglint.signals.block import Block, Gap, Source
from skyglint.site import Channel, Site
from skyglint.station import check
from skyglint.station.check import Check, Listening
from skyglint.station.recent import Recent

#: How long to listen, and how long for each gain that is tried.
LISTEN_S, TRIAL_S = 10.0, 1.0
#: Gains to try, dB: the steps of common tuners thinned out.
GAINS_DB = (0.0, 8.0, 16.0, 22.0, 28.0, 34.0, 40.0, 49.0)

Opener = Callable[[float | None], Source]


def run_checks(
    site: Site, folder: Path, open_receiver: Opener, try_gains: bool, listen_s: float = LISTEN_S
) -> list[Check]:
    """Return all checks of a site; without a receiver only those of the computer.

    Parameters
    ----------
    site, folder
        The site, and the folder that its paths start from.
    open_receiver
        Opens the receiver with a gain, or the site file's own for ``None``.
    try_gains
        Whether to try several gains and recommend one.
    listen_s
        How long to listen.
    """
    gain = None if site.receiver.gain_db == "auto" else float(site.receiver.gain_db)
    computer = [
        check.check_computer_clock(clock_is_synchronized()),
        check.check_disk(shutil.disk_usage((folder / site.station.database).parent).free, len(site.channel)),
    ]
    try:
        listening, speed = listen(open_receiver(gain), site, listen_s)
    except SourceError as error:
        advice = "See that the receiver is plugged in, its driver serves, and no other program holds it."
        return [Check("receiver", "bad", str(error), "samples", advice), *computer]
    names = {role: [channel.name for channel in site.channel if channel.role == role] for role in _ROLES}
    checks = [
        Check("receiver", "good", f"{listening.seconds:.0f} s of samples", "samples"),
        check.check_samples(listening.lost_s, listening.seconds),
        check.check_level(listening.level_dbfs, listening.clipped_share),
    ]
    if try_gains:
        checks.append(check.recommend_gain([_trial(open_receiver, gain_db) for gain_db in GAINS_DB]))
    checks.append(check.check_clock(listening, site.receiver.correction_ppm))
    checks += check.check_targets(listening.density_db, names["target"], names["guard"])
    checks += check.check_guards(listening.density_db, names["guard"])
    checks += check.check_bands(site.crowded_guards())
    return [*checks, *computer, check.check_speed(speed)]


_ROLES = ("target", "guard", "reference")


def listen(source: Source, site: Site, seconds: float) -> tuple[Listening, float]:
    """Return what some seconds of a source show, and how many times faster than it this computer worked."""
    info = source.info
    band = (info.band_low_hz, info.band_high_hz)
    bank = FilterBank(site.channel, site.receiver.correction_ppm, band)
    recent = Recent(min(seconds, 5.0))
    powers: list[list[NDArray[np.float64]]] = [[] for _ in site.channel]
    levels, clipped, lost_s, heard_s, busy_s = [], [], 0.0, 0.0, 0.0
    for item in _first_seconds(source, seconds):
        if isinstance(item, Gap):
            lost_s += item.end_unix - item.start_unix
            continue
        heard_s += item.n_samples / item.sample_rate_hz
        recent.add(item)
        begin = time.process_time()
        frames = bank.process(item)
        busy_s += time.process_time() - begin
        if frames is not None:
            levels.append(frames.level)
            clipped.append(frames.clipped)
            for place, bins in enumerate(frames.spectra):
                powers[place].append(bins.astype(np.float64))
    if not levels or bank.geometry is None:
        raise SourceError(f"{info.name}: delivered no samples within {seconds:.0f} s")
    power_db, density_db = {}, {}
    for channel, grid, parts in zip(site.channel, bank.geometry.grids, powers, strict=True):
        if grid is not None:
            level = float(np.median(np.concatenate(parts)[:, grid.usable].sum(axis=1)))
            power_db[channel.name] = float(power_to_db(level))
            density_db[channel.name] = float(power_to_db(level / (grid.usable.sum() * grid.bin_hz)))
    pilot_hz, pilot_snr_db = _pilot(site, recent)
    listening = Listening(
        seconds=heard_s,
        level_dbfs=float(power_to_db(np.concatenate(levels).mean())),
        clipped_share=float(np.concatenate(clipped).mean()),
        power_db=power_db,
        density_db=density_db,
        lost_s=lost_s,
        pilot_hz=pilot_hz,
        pilot_snr_db=pilot_snr_db,
        carrier_ppm=_carrier_ppm(site, bank, powers),
    )
    return listening, heard_s / max(busy_s, 1e-9)


def _first_seconds(source: Source, seconds: float) -> Iterator[Block | Gap]:
    blocks = source.blocks(0.1)
    start = None
    try:
        for item in blocks:
            yield item
            end = item.end_unix if isinstance(item, Gap) else item.start_unix + item.n_samples / item.sample_rate_hz
            start = item.start_unix if start is None else start
            if end - start >= seconds:
                return
    finally:
        # Closing the source's generator lets go of the receiver, which serves one client at a time.
        if isinstance(blocks, Generator):
            blocks.close()


def _trial(open_receiver: Opener, gain_db: float) -> tuple[float, float, float]:
    level, clipped = [], []
    for item in _first_seconds(open_receiver(gain_db), TRIAL_S):
        if isinstance(item, Block):
            samples = item.samples
            level.append(float(np.mean(samples.real**2 + samples.imag**2)))
            low, high = np.iinfo(item.values.dtype).min, np.iinfo(item.values.dtype).max
            clipped.append(float(np.mean((item.values <= low) | (item.values >= high))))
    return gain_db, float(power_to_db(np.mean(level))), float(np.mean(clipped))


def _reference(site: Site, kind: str) -> Channel | None:
    return next((channel for channel in site.channel if (channel.role, channel.kind) == ("reference", kind)), None)


def _pilot(site: Site, recent: Recent) -> tuple[float, float]:
    from skyglint.fm.identity import identify

    channel = _reference(site, "fm")
    excerpt = recent.excerpt(-math.inf, math.inf) if channel else None
    if channel is None or excerpt is None or excerpt.encoding.components == 1:
        return math.nan, math.nan
    factor = 1 + site.receiver.correction_ppm * 1e-6
    offset_hz = channel.frequency_hz - excerpt.center_frequency_hz * factor
    # The pilot is wanted on the receiver's own clock: the rate is given as stated.
    found = identify(excerpt.samples, excerpt.sample_rate_hz, offset_hz)
    return found.pilot_hz, found.pilot_snr_db


def _carrier_ppm(site: Site, bank: FilterBank, powers: list[list[NDArray[np.float64]]]) -> float:
    channel = _reference(site, "carrier")
    if channel is None or bank.geometry is None:
        return math.nan
    place = site.channel.index(channel)
    grid = bank.geometry.grids[place]
    if grid is None:
        return math.nan
    spectrum = np.concatenate(powers[place]).mean(axis=0)
    peak = int(spectrum.argmax())
    if spectrum[peak] < 10 * np.median(spectrum) or not 0 < peak < len(spectrum) - 1:
        return math.nan
    # A parabola through the logarithms of three bins finds the line between them (Smith & Serra 1987).
    left, middle, right = np.log(spectrum[peak - 1 : peak + 2])
    shift = 0.5 * (left - right) / (left - 2 * middle + right)
    offset_hz = grid.offsets_hz[peak] + shift * grid.bin_hz
    return float(site.receiver.correction_ppm - offset_hz / channel.frequency_hz * 1e6)


def clock_is_synchronized() -> bool | None:
    """Tell whether the operating system says that its clock is kept; ``None`` where it does not say."""
    try:
        answer = subprocess.run(
            ["timedatectl", "show", "--property=NTPSynchronized", "--value"],
            capture_output=True,
            text=True,
            timeout=5,
            check=True,
        ).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return None
    return {"yes": True, "no": False}.get(answer)
