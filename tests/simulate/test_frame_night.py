import numpy as np
import pytest

from skyglint.dsp.bank import FilterBank
from skyglint.signals.block import Block
from skyglint.signals.sources import open_source
from skyglint.simulate import simulate
from skyglint.simulate.frame_night import frame_night
from skyglint.simulate.scenario import parse_scenario
from skyglint.site import Channel

HEAD = """
[recording]
start_utc = "2026-08-13T03:40:00Z"
duration_s = {duration_s}
sample_rate_hz = 1_200_000
center_frequency_hz = 98_000_000
format = "cf32_le"
"""
FAR = '[[transmitter]]\nname = "far"\nkind = "fm"\nfrequency_hz = 98_300_000\nrds_pi = "F3A7"\n{more}\n'
BEACON = '[[transmitter]]\nname = "beacon"\nkind = "carrier"\nfrequency_hz = 97_600_000\noffset_hz = 700\n{more}\n'
CHANNELS = (
    Channel(name="far", role="target", kind="fm", frequency_hz=98_300_000.0),
    Channel(name="quiet", role="guard", kind="fm", frequency_hz=98_000_000.0),
    Channel(name="beacon", role="target", kind="carrier", frequency_hz=97_600_000.0),
)


def night_of(body, duration_s=20, channels=CHANNELS):
    return frame_night(parse_scenario(HEAD.format(duration_s=duration_s) + body), channels)


def spectra_of(night, number, block_s=2.0):
    return np.concatenate([block.spectra[number] for block in night.blocks(block_s)])


def test_noise_has_the_moments_of_chi_square():
    # Bin power over k independent complex samples: chi-square with 2 k degrees of freedom, so relative variance 1/k and
    # skewness 2 / sqrt k (Abramowitz and Stegun 26.4); the sum of B bins has 1 / (B k).
    night = night_of("", duration_s=100)
    k = night.grids[0].samples_per_frame
    power = spectra_of(night, 0).astype(np.float64)
    noise = 1e-3 / 1.2e6 * night.grids[0].bin_hz
    assert power.mean() == pytest.approx(noise, rel=2e-3)
    relative = power / power.mean()
    assert relative.var() == pytest.approx(1 / k, rel=0.01)
    assert ((relative - 1) ** 3).mean() / relative.var() ** 1.5 == pytest.approx(2 / np.sqrt(k), rel=0.03)
    total = power.sum(axis=1)
    assert total.var() / total.mean() ** 2 == pytest.approx(1 / (power.shape[1] * k), rel=0.06)
    between = np.corrcoef(power[:, 30], power[:, 31])[0, 1]
    assert abs(between) < 0.04


def test_a_steady_station_has_its_snr_and_the_scatter_of_its_theory():
    # A signal of constant power S behind a noise N: relative variance (N^2 + 2 N S) / (B k) / (N + S)^2 (Urkowitz
    # 1967).
    night = night_of(FAR.format(more="direct_snr_db = 3"), duration_s=60)
    grid = night.grids[0]
    total = spectra_of(night, 0).sum(axis=1, dtype=np.float64)
    noise = spectra_of(night, 1).sum(axis=1, dtype=np.float64).mean()
    width = grid.bin_hz * len(grid.offsets_hz)
    snr = 10**0.3 * 200e3 / width
    assert total.mean() / noise - 1 == pytest.approx(snr, rel=0.01)
    assert total.var() / total.mean() ** 2 < 1.3 * (1 + 2 * snr) / (1 + snr) ** 2 / (1.05 * 2000 / 1.1)


def test_agrees_with_the_filter_bank_on_samples(tmp_path):
    body = (
        FAR.format(more="direct_snr_db = 3")
        + BEACON.format(more="direct_snr_db = 35")
        + "[[overdense]]\ntransmitter = 'beacon'\nstart_s = 4\nduration_s = 2\npeak_snr_db = 48\n"
        + "[[gain_step]]\nstart_s = 8\nduration_s = 1\nstep_db = 3\n"
    )
    scenario = parse_scenario(HEAD.format(duration_s=10) + body)
    simulate(scenario, tmp_path / "night")
    bank = FilterBank(CHANNELS)
    blocks = [block for block in open_source(tmp_path / "night.sigmf-meta").blocks(0.5) if isinstance(block, Block)]
    real = [frames for block in blocks if (frames := bank.process(block)) is not None]
    made = list(frame_night(scenario, CHANNELS).blocks())
    assert real[0].frame_s == made[0].frame_s
    for number in range(3):
        measured = np.concatenate([frames.spectra[number] for frames in real]).astype(np.float64)
        drawn = np.concatenate([frames.spectra[number] for frames in made]).astype(np.float64)
        assert measured.shape[1] == drawn.shape[1]
        quiet, step = slice(20, 380), slice(802, 898)
        usable = bank.geometry.grids[number].usable
        np.testing.assert_allclose(
            drawn[quiet].sum(axis=1).mean(),
            measured[quiet][:, usable].sum(axis=1).mean() * len(usable) / usable.sum(),
            rtol=0.02,
        )
        np.testing.assert_allclose(
            drawn[step].sum(axis=1).mean() / drawn[quiet].sum(axis=1).mean(),
            measured[step].sum(axis=1).mean() / measured[quiet].sum(axis=1).mean(),
            rtol=0.04,
        )
        scatter = [
            (x[quiet][:, usable].var(axis=0) / x[quiet][:, usable].mean(axis=0) ** 2).mean() for x in (drawn, measured)
        ]
        assert scatter[0] == pytest.approx(scatter[1], rel=0.15)
        if number != 1:
            shapes = [x[quiet].mean(axis=0) / x[quiet].sum() * 360 for x in (drawn, measured)]
            assert np.corrcoef(*shapes)[0, 1] > 0.97
    echo = [
        np.abs(np.concatenate([frames.basebands[2] for frames in each])[32_000:48_000]) ** 2 for each in (real, made)
    ]
    assert echo[0].mean() == pytest.approx(echo[1].mean(), rel=0.1)


def test_echoes_stand_where_the_truth_says():
    body = FAR.format(more="") + "[[population]]\ntransmitter = 'far'\nrate_per_h = 400\nmin_snr_db = 12\n"
    night = night_of(body, duration_s=150)
    total = spectra_of(night, 0).sum(axis=1, dtype=np.float64)
    floor = np.median(total)
    events = night.truth.events
    alone = [
        event
        for event in events
        if not any(
            other.start_unix < event.end_unix + 0.5 and event.start_unix < other.end_unix + 0.5
            for other in events
            if other is not event
        )
    ]
    assert len(alone) > 3
    start = night.blocks().__next__().start_unix
    for event in alone:
        frame = int((event.peak_unix - start) / night.geometry.frame_s)
        near = total[max(frame - 1, 0) : frame + 2].max()
        assert 10 * np.log10(near / floor - 1) == pytest.approx(event.peak_snr_db, abs=1.5)


def test_losses_begin_new_stretches():
    night = night_of("[[loss]]\nstart_s = 3\nduration_s = 4.5\n", duration_s=10)
    blocks = list(night.blocks(1.0))
    assert sorted({block.stretch for block in blocks}) == [0, 1]
    first = [next(block for block in blocks if block.stretch == stretch) for stretch in (0, 1)]
    assert [block.first_frame for block in first] == [0, 0]
    assert first[1].start_unix - first[0].start_unix == pytest.approx(7.5)
    assert sum(block.n_frames for block in blocks) == 550
    assert all(block.spectra[2].shape == (block.n_frames, len(night.grids[2].offsets_hz)) for block in blocks)
    assert all(len(block.basebands[2]) == block.n_frames * block.frame_s * block.baseband_rate_hz for block in blocks)


def test_disturbances_hit_their_channels():
    body = (
        BEACON.format(more="")
        + "[[lightning]]\nstart_s = 2\npeak_snr_db = 14\n"
        + "[[comb]]\nstart_s = 5\nduration_s = 2\npeak_snr_db = 12\nspacing_hz = 50_000\n"
    )
    night = night_of(body, duration_s=10)
    for number in range(3):
        total = spectra_of(night, number).sum(axis=1, dtype=np.float64)
        floor = np.median(total)
        assert total[200:222].max() / floor > 8
        assert total[510:690].mean() / floor > 3
        assert total[800:].mean() / floor < 1.1


def test_a_carrier_echo_has_its_strength_and_shift():
    burst = "[[burst]]\ntransmitter = 'beacon'\nstart_s = 2\nduration_s = 4\npeak_snr_db = 45\ndoppler_hz = 12.5\n"
    night = night_of(BEACON.format(more="") + burst, duration_s=8)
    blocks = list(night.blocks())
    base = np.concatenate([block.basebands[2] for block in blocks])
    rate_hz = blocks[0].baseband_rate_hz
    n = round(3.9 * rate_hz)
    begin = round(2.05 * rate_hz)
    spectrum = np.abs(np.fft.fft(base[begin : begin + n])) ** 2
    peak = np.argmax(spectrum)
    assert np.fft.fftfreq(n, 1 / rate_hz)[peak] == pytest.approx(712.5, abs=0.3)
    density = np.median(np.abs(np.fft.fft(base[: begin - 500])) ** 2) / np.log(2) / (begin - 500) / rate_hz
    carrier = spectrum[peak - 1 : peak + 2].sum() / n**2
    assert 10 * np.log10(carrier / density) == pytest.approx(45, abs=0.6)


def test_the_same_seed_gives_the_same_night():
    body = FAR.format(more="") + "[[population]]\ntransmitter = 'far'\nrate_per_h = 2000\n"
    first, again = (spectra_of(night_of(body, 5), 0) for _ in range(2))
    np.testing.assert_array_equal(first, again)


def test_a_channel_outside_the_band():
    outside = Channel(name="no", role="guard", kind="fm", frequency_hz=99_500_000.0)
    with pytest.raises(ValueError, match="outside the scenario's band: no"):
        night_of("", channels=(*CHANNELS, outside))
