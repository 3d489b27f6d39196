"""The speed of this machine on this pipeline, as ratios measured side by side in one run.

The yardstick is one bare single-precision FFT pass over the same samples: what any method that looks at every sample
has to pay. Absolute figures change from machine to machine; the ratio hardly does.
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from scipy.fft import fft

from skyglint.dsp.kernels import PLAIN, Kernels, load_kernels
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source
from skyglint.site import Site, parse_site
from skyglint.station.scan import scan_recording
from skyglint.store.store import Store

SAMPLE_RATE_HZ = 2_400_000
CENTER_FREQUENCY_HZ = 98_000_000
N_CHANNELS = 12
FFT_LENGTH = 2048
#: Seconds of the recording that the bare pass walks through: more than any cache holds.
BARE_S = 10
#: The operating system's unit of resident memory.
_RSS_UNITS_A_MB = 1024 if sys.platform != "darwin" else 1024**2

SITE_TEXT = """
[site]
name = "Bench"
latitude_deg = 0.0
longitude_deg = 0.0
height_m = 0
timezone = "UTC"
[antenna]
azimuth_deg = 0
elevation_deg = 0
gain_dbi = 0
beamwidth_deg = 360
height_above_ground_m = 2
polarization = "horizontal"
[receiver]
source = "recording"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = "auto"
correction_ppm = 0.0
"""


@dataclass(frozen=True, slots=True)
class Speed:
    """Medians over the rounds.

    Attributes
    ----------
    scan_ratio_to_bare_fft
        Time of a whole scan over the time of the bare pass.
    scan_times_real_time, bare_fft_times_real_time
        Seconds of recording worked through in a second.
    peak_rss_mb
        Largest resident memory of the process by the end of the first scan, in megabytes.
    kernels
        ``compiled`` or ``plain``.
    """

    scan_ratio_to_bare_fft: float
    scan_times_real_time: float
    bare_fft_times_real_time: float
    peak_rss_mb: float
    kernels: str


def channel_tables() -> str:
    """Return the tables of 12 FM channels side by side across the span."""
    first = CENTER_FREQUENCY_HZ - 1_100_000
    return "".join(
        f'[[channel]]\nname = "lane-{place + 1}"\nrole = "target"\nkind = "fm"\n'
        f"frequency_hz = {first + 200_000 * place}\n"
        for place in range(N_CHANNELS)
    )


def bench_site() -> Site:
    """Return a site with these channels."""
    return parse_site(SITE_TEXT + channel_tables(), "bench")


def write_recording(
    path: Path, seconds: int, seed: int = 1, burst_every_s: float = 5.0, burst_amplitude: float = 8.0
) -> None:
    """Write 8-bit I/Q noise with bursts of 0.3 s, in one channel after another; half a second at a time.

    One every 5 s is 60 echoes an hour in each channel: a good night. An amplitude of 8 peaks 4 dB over the floor.
    """
    every = max(1, round(2 * burst_every_s))
    rng = np.random.default_rng(seed)
    piece, length = SAMPLE_RATE_HZ // 2, int(0.3 * SAMPLE_RATE_HZ)
    with path.open("wb") as file:
        for number in range(2 * seconds):
            noise = rng.standard_normal(2 * piece, dtype=np.float32)
            noise *= np.float32(12.0)
            if number % every == (every - 1) // 2:
                place = number // every % N_CHANNELS
                offset_hz = 200_000 * place - 1_100_000
                # A phase that walks at random, some 15 kHz wide, stands for a quiet programme.
                walk = np.cumsum(rng.normal(2 * np.pi * offset_hz / SAMPLE_RATE_HZ, 0.2, length))
                envelope = burst_amplitude * np.exp(-np.arange(length) / (0.4 * length))
                noise[: 2 * length : 2] += envelope * np.cos(walk)
                noise[1 : 2 * length : 2] += envelope * np.sin(walk)
            noise += np.float32(127.5)
            file.write(np.clip(np.rint(noise, out=noise), 0, 255).astype(np.uint8).data)


def measure(seconds: int = 60, rounds: int = 5, kernels: Kernels | None = None) -> Speed:
    """Time whole scans and bare passes in turn over the same samples."""
    kernels = kernels or load_kernels()
    site = bench_site()
    options = SourceOptions("cu8", SAMPLE_RATE_HZ, CENTER_FREQUENCY_HZ, 1_786_586_400.0)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.cu8"
        write_recording(path, seconds)

        with Store.open(Path(folder) / "bench.db", mode="create") as store:
            run_id = store.begin_run("Bench", "", "bench", {}, 0.0)

            def scan() -> float:
                source = open_source(path, options)
                return _timed(lambda: scan_recording(source, site, store, run_id, kernels=kernels)) / seconds

            scan()  # warms caches and compiles
            peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / _RSS_UNITS_A_MB
            pairs = _in_turn(scan, _bare_pass(path, seconds), rounds)
    scans, bares = np.array(pairs).T
    return Speed(
        scan_ratio_to_bare_fft=float(np.median(scans / bares)),
        scan_times_real_time=float(1 / np.median(scans)),
        bare_fft_times_real_time=float(1 / np.median(bares)),
        peak_rss_mb=float(peak_mb),
        kernels="plain" if kernels is PLAIN else "compiled",
    )


def _bare_pass(path: Path, seconds: int) -> Callable[[], float]:
    """Return a function that transforms the recording's first seconds and returns its time a second of recording."""
    samples = np.fromfile(path, dtype=np.uint8, count=2 * SAMPLE_RATE_HZ * min(seconds, BARE_S))
    rows = len(samples) // 2 // FFT_LENGTH
    scaled = samples[: 2 * rows * FFT_LENGTH].astype(np.float32) - np.float32(127.5)
    spectra = scaled.view(np.complex64).reshape(rows, FFT_LENGTH)

    def transform() -> None:
        # A hundred rows at a time: the results need not be kept, only computed.
        for first in range(0, rows, 100):
            fft(spectra[first : first + 100], axis=1)

    return lambda: _timed(transform) * SAMPLE_RATE_HZ / (rows * FFT_LENGTH)


def _in_turn(first: Callable[[], float], second: Callable[[], float], rounds: int) -> list[tuple[float, float]]:
    return [(first(), second()) for _ in range(rounds)]


def _timed(work: Callable[[], object]) -> float:
    # Time of the processor, not of the wall: other programs on this computer do not belong into the figure.
    begin = time.process_time()
    work()
    return time.process_time() - begin


def main() -> None:
    """Measure in this process and print JSON; ``plain`` as argument declines the compiled kernels."""
    kernels = load_kernels(False if "plain" in sys.argv[1:] else None)
    print(json.dumps(asdict(measure(kernels=kernels))))


if __name__ == "__main__":
    main()
