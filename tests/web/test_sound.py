"""Sounds against tones of known pitch, measured by their spectrum."""

import io
import wave

import numpy as np
import pytest

from skyglint.site import Channel
from skyglint.web.sound import AUDIO_RATE_HZ, BEAT_NOTE_HZ, BEAT_RATE_HZ, beat_note, fm_sound, sound_of, wav

RATE = 1_200_000.0


def strongest_hz(audio: np.ndarray, rate: float) -> float:
    spectrum = np.abs(np.fft.rfft(audio * np.hanning(len(audio)), 1 << 18))
    return float(np.argmax(spectrum) * rate / (1 << 18))


def programme(tone_hz: float, seconds: float, offset_hz: float, deviation_hz: float = 40_000.0) -> np.ndarray:
    time = np.arange(round(seconds * RATE)) / RATE
    phase = deviation_hz / tone_hz * np.sin(2 * np.pi * tone_hz * time)
    return np.exp(1j * (2 * np.pi * offset_hz * time + phase)).astype(np.complex64)


@pytest.mark.parametrize("tone_hz", [400.0, 1000.0, 7000.0])
def test_an_fm_programme_sounds_at_its_pitch(tone_hz):
    audio = fm_sound(programme(tone_hz, 0.5, 300_000.0), RATE, 300_000.0)
    assert len(audio) == pytest.approx(0.5 * AUDIO_RATE_HZ, abs=40)
    assert strongest_hz(audio[2000:], AUDIO_RATE_HZ) == pytest.approx(tone_hz, abs=1.0)


def test_de_emphasis_is_that_of_the_standard():
    # ITU-R BS.450 sec. 1.2: a 50 microsecond network; at 10 kHz that is 10 log10(1 + (2 pi 1e4 50e-6)^2) = 10.36 dB.
    # At 400 Hz it is 0.07 dB. The bilinear transform at 48 kHz adds a little at 10 kHz.
    levels = [
        np.std(fm_sound(programme(tone, 0.4, 0.0, 20_000.0), RATE, 0.0)[4000:-2000]) for tone in (400.0, 10_000.0)
    ]
    assert 20 * np.log10(levels[0] / levels[1]) == pytest.approx(10.3, abs=1.5)


def test_the_stereo_pilot_is_not_heard():
    audio = fm_sound(programme(19_000.0, 0.3, 0.0, 7_500.0), RATE, 0.0)
    assert np.std(audio[2000:-2000]) < 75.0  # of 5,300 Hz


@pytest.mark.parametrize("shift_hz", [-600.0, 0.0, 1500.0])
def test_a_carrier_is_heard_at_the_beat_note_plus_its_shift(shift_hz):
    time = np.arange(round(0.6 * RATE)) / RATE
    samples = np.exp(2j * np.pi * (-450_000.0 + shift_hz) * time).astype(np.complex64)
    audio = beat_note(samples, RATE, -450_000.0)
    assert strongest_hz(audio, BEAT_RATE_HZ) == pytest.approx(BEAT_NOTE_HZ + shift_hz, abs=0.5)


def test_a_wav_file_can_be_read_back():
    channel = Channel(name="c", role="target", kind="carrier", frequency_hz=98.1e6)
    time = np.arange(240_000) / RATE
    samples = (0.01 * np.exp(2j * np.pi * 100_000 * time)).astype(np.complex64)
    with wave.open(io.BytesIO(sound_of(channel, samples, RATE, 98e6))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, BEAT_RATE_HZ)
        audio = np.frombuffer(file.readframes(file.getnframes()), "<i2")
    assert len(audio) == pytest.approx(0.2 * BEAT_RATE_HZ, abs=2)
    assert 16_000 < np.abs(audio).max() <= 16_383
    assert strongest_hz(audio.astype(float), BEAT_RATE_HZ) == pytest.approx(BEAT_NOTE_HZ, abs=1.0)


def test_nothing_makes_silence():
    none = np.empty(0, np.complex64)
    assert len(fm_sound(none, RATE, 0.0)) == len(beat_note(none, RATE, 0.0)) == 0
    with wave.open(io.BytesIO(wav(np.zeros(10), 8000))) as file:
        assert file.readframes(10) == bytes(20)
