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


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(RequestError, match="cannot be written"):
        simulate(scenario_of(duration_s=0.1), tmp_path / "none" / "night")


def test_nothing_is_overwritten_without_force(tmp_path):
    scenario = scenario_of(duration_s=0.1)
    simulate(scenario, tmp_path / "night")
    with pytest.raises(RequestError, match="--force"):
        simulate(scenario, tmp_path / "night")


def spectrum_db(samples):
    """Power of each bin over full scale, Blackman-Harris, in a tone's own terms."""
    window = np.blackman(len(samples)) / np.blackman(len(samples)).sum()
    return 20 * np.log10(np.abs(np.fft.fft(samples * window)) + 1e-12)


def test_a_carrier_is_pure_across_the_blocks(record):
    # Blocks of overlapped transforms must leave no seams: nothing but the tone above -75 dB of it (a window's skirts
    # aside), noise being 100 dB down.
    tone = station(kind="carrier", frequency_hz=98_030_000, more="direct_snr_db = 117")
    samples, _ = record(scenario_of(tone, duration_s=0.5, rate_hz=250_000, noise_dbfs=-120))
    level = spectrum_db(samples)
    peak = np.argmax(level)
    assert np.fft.fftfreq(len(samples), 1 / 250e3)[peak] == pytest.approx(30_000, abs=2)
    assert level[peak] == pytest.approx(117 - 120 - 10 * np.log10(250e3), abs=0.1)
    others = np.delete(np.roll(level, -peak), np.r_[0:10, -10:0])
    assert others.max() < level[peak] - 75


def test_strength_of_a_carrier_is_referred_to_1_hz(record):
    samples, truth = record(
        scenario_of(
            station(kind="carrier", frequency_hz=98_010_000)
            + "[[burst]]\ntransmitter = 'far'\nstart_s = 0.5\nduration_s = 1\npeak_snr_db = 45\n",
            rate_hz=48_000,
        )
    )
    on, off = samples[30_000:66_000], samples[:20_000]
    excess = np.mean(np.abs(on) ** 2) / np.mean(np.abs(off) ** 2) - 1
    assert 10 * np.log10(excess * 48_000) == pytest.approx(45, abs=0.25)
    assert truth.events[0].peak_snr_db == pytest.approx(45, abs=0.01)


def test_doppler_decay_and_start_of_an_echo(record):
    # Phase fit for the shift, logarithmic fit for the amplitude's decay; 1000 km, 93 km, 98 MHz: tau from lambda^2
    # sec^2 phi / (16 pi^2 D), log10 D = 0.067 h - 5.6 (Greenhow and Neufeld 1955), phi by plane trigonometry.
    echo = "[[underdense]]\ntransmitter = 'far'\nstart_s = 0.4\npeak_snr_db = 75\nheight_km = 93\ndoppler_hz = -6.5\n"
    tone = station(kind="carrier", frequency_hz=98_000_000, more="offset_hz = 1000")
    samples, truth = record(scenario_of(tone + echo, rate_hz=48_000))
    shell, radius, angle = 6371 + 93, 6371, 1000 / 2 / 6371
    reach = np.sqrt(radius**2 + shell**2 - 2 * radius * shell * np.cos(angle))
    cosine2 = 1 - (radius * np.sin(angle) / reach) ** 2
    tau = (299792458 / 98e6) ** 2 / cosine2 / (16 * np.pi**2 * 10 ** (0.067 * 93 - 5.6))
    t = np.arange(len(samples)) / 48_000
    base = (samples * np.exp(-2j * np.pi * 1000 * t)).reshape(-1, 240).mean(axis=1)  # steps of 5 ms
    seconds = (np.arange(len(base)) + 0.5) * 0.005
    fit = (seconds > 0.55) & (seconds < 1.1)
    slope, _ = np.polyfit(seconds[fit], np.log(np.abs(base[fit])), 1)
    assert -1 / slope == pytest.approx(tau, rel=0.02)
    assert truth.events[0].decay_time_s == pytest.approx(tau, rel=1e-3)
    turn, _ = np.polyfit(seconds[fit], np.unwrap(np.angle(base[fit])), 1)
    assert turn / (2 * np.pi) == pytest.approx(-6.5, abs=0.05)
    half = seconds[np.flatnonzero(np.abs(base) > np.abs(base).max() / 2)[0]]
    assert half == pytest.approx(0.4, abs=0.01)  # half the final amplitude at the specular point (Cornu spiral)


def test_a_fast_clock_tunes_too_high_and_counts_too_many(tmp_path):
    # +20 ppm: the true centre is 1960 Hz higher, so a carrier stands that much lower; and 20 ppm more samples come.
    tone = station(kind="carrier", frequency_hz=98_010_000, more="direct_snr_db = 70")
    scenario = scenario_of(tone + "[receiver]\nclock_error_ppm = 20\n", duration_s=5, rate_hz=50_000)
    simulate(scenario, tmp_path / "night")
    samples = samples_of(tmp_path / "night.sigmf-meta")
    assert len(samples) == 250_005
    frequency = np.fft.fftfreq(len(samples), 1 / 50e3)[np.argmax(spectrum_db(samples))]
    assert frequency == pytest.approx((98_010_000 - 98e6 * (1 + 20e-6)) / (1 + 20e-6), abs=0.2)


@pytest.mark.parametrize(("format", "step"), [("cu8", 1 / 127.5), ("ci8", 1 / 128), ("ci16_le", 1 / 32768)])
def test_rounding_adds_a_twelfth_of_a_step_squared(tmp_path, format, step):
    # Widrow and Kollar, Quantization Noise (2008): step^2 / 12 in each of I and Q for a signal of many steps.
    simulate(scenario_of(noise_dbfs=-20, rate_hz=100_000, format="cf32_le"), tmp_path / "exact")
    simulate(scenario_of(noise_dbfs=-20, rate_hz=100_000, format=format), tmp_path / "rounded")
    error = samples_of(tmp_path / "rounded.sigmf-meta") - samples_of(tmp_path / "exact.sigmf-meta")
    inside = np.maximum(np.abs(error.real), np.abs(error.imag)) < step  # a few noise peaks reach the rails
    assert inside.mean() > 0.9999
    assert np.mean(np.abs(error[inside]) ** 2) == pytest.approx(2 * step**2 / 12, rel=0.02)


def test_image_and_spike_of_a_receiver(record):
    tone = station(kind="carrier", frequency_hz=98_030_000, more="direct_snr_db = 118")
    faults = "[receiver]\niq_gain_db = 0.3\niq_phase_deg = 2\ndc_i = 0.003\ndc_q = 0.004\n"
    samples, _ = record(scenario_of(tone + faults, duration_s=0.4, rate_hz=250_000, noise_dbfs=-100))
    level = spectrum_db(samples)
    n = len(samples)
    # Razavi, RF Microelectronics: (1 + 2 g cos p + g^2) / (1 - 2 g cos p + g^2) = 32.1 dB here.
    g, c = 10 ** (0.3 / 20), np.cos(np.radians(2))
    rejection = 10 * np.log10((1 + 2 * g * c + g * g) / (1 - 2 * g * c + g * g))
    place = round(30_000 * n / 250_000)
    assert level[place] - level[-place] == pytest.approx(rejection, abs=0.2)
    assert level[0] == pytest.approx(20 * np.log10(0.005), abs=0.1)


def test_lightning_hits_all_frequencies_alike_and_combs_do_not(record):
    body = "[[lightning]]\nstart_s = 0.5\npeak_snr_db = 15\n[[comb]]\nstart_s = 1\nduration_s = 0.9\npeak_snr_db = 10\n"
    samples, truth = record(scenario_of(body, rate_hz=600_000))
    flash = samples[300_000:420_000].reshape(20, -1)
    strongest = flash[np.argmax((np.abs(flash) ** 2).sum(axis=1))]
    bands = [band_power(strongest, 600e3, low, low + 100e3) for low in np.arange(-250e3, 250e3, 100e3)]
    assert max(bands) / min(bands) < 2.5
    assert 10 * np.log10(np.mean(np.abs(strongest) ** 2) / 1e-3) == pytest.approx(15, abs=2)
    comb = samples[660_000:1_100_000]
    frequency, density = welch(comb, 600e3, nperseg=6000, return_onesided=False)
    lines = np.abs((frequency + 98e6 + 32_500) % 65_000 - 32_500) < 400
    assert np.median(density[lines]) > 10 * np.median(density[~lines])
    assert {(event.channel, event.echo_class) for event in truth.events} == {("*", "lightning"), ("*", "interference")}


def test_gain_steps_and_wander(record):
    body = "[receiver]\ngain_wander_db = 0.0\n[[gain_step]]\nstart_s = 1\nduration_s = 0.5\nstep_db = -6\n"
    samples, _ = record(scenario_of(body, rate_hz=100_000))
    power = np.abs(samples) ** 2
    ratio = power[100_000:150_000].mean() / power[:100_000].mean()
    assert 10 * np.log10(ratio) == pytest.approx(-6, abs=0.1)
    wandering, _ = record(
        scenario_of("[receiver]\ngain_wander_db = 3\ngain_wander_s = 0.2\n", duration_s=20, rate_hz=50_000)
    )
    level_db = 10 * np.log10((np.abs(wandering) ** 2).reshape(-1, 2_500).mean(axis=1))
    assert level_db.std() == pytest.approx(3, rel=0.35)


def test_a_direct_signal_and_two_stations_on_one_channel(record):
    body = (
        station("first", more="direct_snr_db = 6\nchannel = 'a'")
        + station("second", more="channel = 'a'")
        + "[[burst]]\ntransmitter = 'second'\nstart_s = 1\nduration_s = 0.8\npeak_snr_db = 6\n"
    )
    samples, truth = record(scenario_of(body))
    before, both = (band_power(samples[a:b], 600e3, 50e3, 250e3) for a, b in ((0, 550_000), (610_000, 1_050_000)))
    noise = 1e-3 / 3
    assert 10 * np.log10(before / noise - 1) == pytest.approx(6, abs=0.2)
    assert 10 * np.log10(both / noise - 1) == pytest.approx(9, abs=0.25)
    assert (truth.events[0].channel, truth.events[0].transmitter) == ("a", "second")
