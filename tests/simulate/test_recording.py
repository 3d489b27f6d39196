import numpy as np
import pytest
from scipy.signal import welch

from skyglint.errors import RequestError
from skyglint.signals.block import Block, Gap
from skyglint.signals.sources import open_source
from skyglint.simulate import read_truth, simulate
from skyglint.simulate.scenario import parse_scenario
from skyglint.simulate.truth import truth_path

HEAD = """
[recording]
start_utc = "2026-08-13T03:40:00Z"
duration_s = {duration_s}
sample_rate_hz = {rate_hz}
center_frequency_hz = 98_000_000
format = "{format}"
noise_dbfs = {noise_dbfs}
seed = 11
"""


def scenario_of(body="", duration_s=2, rate_hz=600_000, format="cf32_le", noise_dbfs=-30):
    head = HEAD.format(duration_s=duration_s, rate_hz=rate_hz, format=format, noise_dbfs=noise_dbfs)
    return parse_scenario(head + body)


def station(name="far", frequency_hz=98_150_000, kind="fm", more=""):
    return f'[[transmitter]]\nname = "{name}"\nkind = "{kind}"\nfrequency_hz = {frequency_hz}\n{more}\n'


def samples_of(path):
    blocks = [item for item in open_source(path).blocks(1.0) if isinstance(item, Block)]
    return np.concatenate([block.samples for block in blocks])


def band_power(samples, rate_hz, low_hz, high_hz):
    frequency, density = welch(samples, rate_hz, nperseg=4096, return_onesided=False, detrend=False)
    inside = (frequency >= low_hz) & (frequency < high_hz)
    return density[inside].sum() * rate_hz / 4096


@pytest.fixture
def record(tmp_path):
    def run(scenario, seed=None):
        truth = simulate(scenario, tmp_path / "night", seed, force=True)
        return samples_of(tmp_path / "night.sigmf-meta"), truth

    return run


def test_noise_and_injected_snr(record):
    samples, _ = record(scenario_of(station(more="direct_snr_db = 10\nprogramme = 'music'")))
    empty = band_power(samples, 600e3, -250e3, -50e3)
    assert 10 * np.log10(empty * 3) == pytest.approx(-30, abs=0.1)  # a third of the span
    full = band_power(samples, 600e3, 50e3, 250e3)
    assert 10 * np.log10(full / empty - 1) == pytest.approx(10, abs=0.1)


def test_lost_samples_are_captures_with_their_own_time(tmp_path):
    scenario = scenario_of("[[loss]]\nstart_s = 0.5\nduration_s = 0.7\n", format="cu8", rate_hz=250_000)
    truth = simulate(scenario, tmp_path / "night")
    items = list(open_source(tmp_path / "night.sigmf-meta").blocks(1.0))
    start = scenario.recording.start_unix
    gaps = [item for item in items if isinstance(item, Gap)]
    assert [(gap.start_unix - start, gap.end_unix - start) for gap in gaps] == [pytest.approx((0.5, 1.2), abs=1e-5)]
    assert sum(item.n_samples for item in items if isinstance(item, Block)) == pytest.approx(1.3 * 250_000, abs=1)
    assert read_truth(truth_path(tmp_path / "night")).losses == truth.losses == ((start + 0.5, start + 1.2),)


def test_the_same_seed_gives_the_same_recording(record):
    scenario = scenario_of(station() + "[[population]]\ntransmitter = 'far'\nrate_per_h = 10_000\n", duration_s=1)
    first, first_truth = record(scenario, seed=5)
    again, again_truth = record(scenario, seed=5)
    other, _ = record(scenario, seed=6)
    np.testing.assert_array_equal(first, again)
    assert first_truth == again_truth
    assert not np.array_equal(first, other)


def test_nothing_is_overwritten_without_force(tmp_path):
    scenario = scenario_of(duration_s=0.1)
    simulate(scenario, tmp_path / "night")
    with pytest.raises(RequestError, match="--force"):
        simulate(scenario, tmp_path / "night")
