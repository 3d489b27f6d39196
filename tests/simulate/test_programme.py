import numpy as np
import pytest
from scipy.signal import welch

from skyglint.simulate.programme import Programme

RATE_HZ = 75_000.0


def audio_of(programme, seconds=60, seed=1):
    return Programme(programme, RATE_HZ, 50.0, np.random.default_rng(seed)).read(int(seconds * RATE_HZ))


@pytest.mark.parametrize("programme", ["speech", "music"])
def test_left_and_right_keep_within_full_level(programme):
    mid, side = audio_of(programme)
    assert np.abs(mid + side).max() <= 1
    assert np.abs(mid - side).max() <= 1
    assert side.std() < mid.std()


def test_speech_pauses_and_music_does_not():
    def silent_share(programme):
        power = (audio_of(programme)[0].reshape(-1, 750) ** 2).mean(axis=1)  # 10 ms
        return np.mean(power < 1e-3 * power.mean())

    assert 0.05 < silent_share("speech") < 0.4
    assert silent_share("music") < 0.01


def test_energy_lies_at_low_frequencies():
    frequency, density = welch(audio_of("speech")[0], RATE_HZ, nperseg=4096)
    assert density[frequency < 4000].sum() > 0.6 * density.sum()


def test_silence_is_silent():
    assert not audio_of("silence", 1).any()


def test_reading_in_pieces_gives_the_same_rhythm():
    source = Programme("speech", RATE_HZ, 50.0, np.random.default_rng(3))
    pieces = np.concatenate([source.read(n) for n in (1, 17, 5000, 400, 30_000)], axis=1)
    assert pieces.shape == (2, 35_418)
    assert np.isfinite(pieces).all()
