"""An invented site and its channels, and what a scan of one recording would write."""

import numpy as np
import pytest

from skyglint.echoes.echo import Echo, Snippet
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import CoverageSpan, Store

START_UNIX = 1_786_586_400.0  # 2026-08-13T02:00:00Z
CHANNELS = (
    Channel(name="north-sea", role="target", kind="fm", frequency_hz=98.3e6, power_w=60e3),
    Channel(name="quiet", role="guard", kind="fm", frequency_hz=98.7e6),
)


def source_info(name="night.sigmf-meta", fingerprint="a1b2", start_unix=START_UNIX, length_s=3600.0):
    return SourceInfo(
        name=name,
        fingerprint=fingerprint,
        encoding="cu8",
        sample_rate_hz=2.4e6,
        center_frequency_hz=98e6,
        start_unix=start_unix,
        end_unix=start_unix + length_s,
        band_low_hz=96.8e6,
        band_high_hz=99.2e6,
    )


def echo(offset_s=10.0, channel="north-sea", **more):
    start_unix = START_UNIX + offset_s
    defaults = {"duration_s": 0.31, "peak_unix": start_unix + 0.05, "peak_snr_db": 17.25, "energy_snr_s": 4.5}
    return Echo(channel=channel, start_unix=start_unix, **(defaults | more))


def snippet(seed=1, n=60, m=40):
    random = np.random.default_rng(seed)
    return Snippet(
        start_unix=START_UNIX + 9.0,
        step_s=0.01,
        power_db=random.normal(3, 6, n).astype(np.float32),
        offsets_hz=np.linspace(-100e3, 100e3, m),
        spectrogram_db=random.normal(0, 5, (n, m)).astype(np.float32),
    )


def begin(store, **changes):
    given = {
        "site_name": "Harrow Fell",
        "site_file": '[site]\nname = "Harrow Fell"\n',
        "command": "skyglint scan",
        "parameters": {"false_alarms_per_h": 1.0},
        "created_unix": START_UNIX + 40_000.0,
    }
    return store.begin_run(**(given | changes))


def write(store, run_id, info=None, echoes=(), coverage=(), channels=CHANNELS):
    info = info or source_info()
    with store.recording(run_id, info, channels) as writer:
        writer.add_echoes(echoes)
        writer.add_coverage(coverage or [watched(info.start_unix, info.end_unix)])
        writer.set_samples(8_640_000_000, 0.0005)
    return writer


def watched(start_unix, end_unix, channel="north-sea"):
    return CoverageSpan(channel, start_unix, end_unix, "watched")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "night.db"


@pytest.fixture
def store(path):
    with Store.open(path, "create") as opened:
        yield opened
