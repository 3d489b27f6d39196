"""The sound of an echo: what an FM receiver would have said, or the beat note of a carrier; as a WAV file."""

from __future__ import annotations

import io
import wave
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.signals.block import Block
from skyglint.signals.sources import open_source
from skyglint.site import Channel

Samples = NDArray[np.complex64]
Audio = NDArray[np.float64]

AUDIO_RATE_HZ = 48_000
BEAT_RATE_HZ = 12_000
#: Where a carrier that stands on its channel's frequency is heard: low enough to leave room for head echoes above.
BEAT_NOTE_HZ = 1_000.0
#: Speech and music of an FM programme, and its de-emphasis in ITU region 1 (ITU-R BS.450, sec. 1.2).
AUDIO_BAND_HZ = 15_000.0
DE_EMPHASIS_S = 50e-6
#: Longest sound.
MOST_S = 30.0


def read_samples(snippet: Path) -> tuple[Samples, float, float]:
    """Return the samples of a snippet, their rate and the frequency at 0 Hz.

    Raises
    ------
    SkyglintError
        If they cannot be read.
    """
    source = open_source(snippet)
    info = source.info
    most = round(MOST_S * info.sample_rate_hz)
    parts = []
    for item in source.blocks():
        if isinstance(item, Block):
            parts.append(item.samples)
        if sum(map(len, parts)) >= most:
            break
    samples = np.concatenate(parts)[:most] if parts else np.empty(0, np.complex64)
    return samples, info.sample_rate_hz, info.center_frequency_hz


def sound_of(channel: Channel, samples: Samples, sample_rate_hz: float, center_frequency_hz: float) -> bytes:
    """Return the sound of a channel's samples as a WAV file."""
    offset_hz = channel.frequency_hz - center_frequency_hz
    if channel.kind == "fm":
        return wav(fm_sound(samples, sample_rate_hz, offset_hz), AUDIO_RATE_HZ)
    return wav(beat_note(samples, sample_rate_hz, offset_hz), BEAT_RATE_HZ)


def fm_sound(samples: Samples, sample_rate_hz: float, offset_hz: float) -> Audio:
    """Return the programme's sum signal, de-emphasised, at ``AUDIO_RATE_HZ``; noise where there is no echo."""
    from scipy.signal import bilinear, lfilter

    from skyglint.fm.channelise import channelise
    from skyglint.fm.discriminator import demodulate

    channel, rate_hz = channelise(samples, sample_rate_hz, offset_hz)
    if len(channel) < 2:
        return np.empty(0)
    multiplex = demodulate(channel, rate_hz)
    audio = _resampled(multiplex.frequency_hz.astype(np.float64), rate_hz, AUDIO_RATE_HZ, AUDIO_BAND_HZ)
    b, a = bilinear([1.0], [DE_EMPHASIS_S, 1.0], AUDIO_RATE_HZ)
    return np.asarray(lfilter(b, a, audio - audio.mean()), dtype=np.float64)


def beat_note(samples: Samples, sample_rate_hz: float, offset_hz: float) -> Audio:
    """Return the carrier as a tone at ``BEAT_NOTE_HZ`` plus its shift, at ``BEAT_RATE_HZ``."""
    if not len(samples):
        return np.empty(0)
    turns = offset_hz / sample_rate_hz * np.arange(len(samples))
    at_zero = samples * np.exp(-2j * np.pi * np.remainder(turns, 1.0))
    narrow = _resampled(at_zero, sample_rate_hz, BEAT_RATE_HZ, BEAT_RATE_HZ / 2.0 - BEAT_NOTE_HZ)
    note = np.exp(2j * np.pi * BEAT_NOTE_HZ / BEAT_RATE_HZ * np.arange(len(narrow)))
    return np.asarray(np.real(narrow * note))


def _resampled(values: NDArray[Any], rate_hz: float, new_rate_hz: float, band_hz: float) -> NDArray[Any]:
    """Return readings at a lower rate, cut to +-``band_hz``: by the spectrum, because a snippet is short and whole."""
    from scipy.fft import fft, fftfreq, ifft, next_fast_len

    size = next_fast_len(len(values) + round(rate_hz / 100.0))
    spectrum: NDArray[Any] = np.asarray(fft(values, size))
    frequency = fftfreq(size, 1.0 / rate_hz)
    n_new = round(size * new_rate_hz / rate_hz)
    # A raised cosine of a tenth of the band keeps the edge from ringing.
    edge = np.clip((band_hz - np.abs(frequency)) / (0.1 * band_hz), 0.0, 1.0)
    kept = spectrum * (0.5 - 0.5 * np.cos(np.pi * edge))
    half = min(size, n_new) // 2
    narrow = np.concatenate([kept[:half], np.zeros(n_new - 2 * half), kept[-half:]])
    result = ifft(narrow) * (n_new / size)
    n_audio = int(len(values) * new_rate_hz / rate_hz)
    return np.asarray(result[:n_audio] if np.iscomplexobj(values) else np.real(result[:n_audio]))


def wav(audio: Audio, rate_hz: int) -> bytes:
    """Return 16-bit mono WAV, its loudest moment at half of full scale."""
    loudest = float(np.max(np.abs(audio), initial=0.0)) or 1.0
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(np.round(audio / loudest * 16_383.0).astype("<i2").tobytes())
    return buffer.getvalue()
