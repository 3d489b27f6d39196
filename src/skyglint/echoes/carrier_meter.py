"""Measures a burst in a carrier channel: level, length, Doppler and its rate, decay."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.carrier_search import CarrierSearch, ClosedTone
from skyglint.echoes.chirp import chirp_line
from skyglint.echoes.classify import Evidence, classify
from skyglint.echoes.company import Surroundings
from skyglint.echoes.decay import Decay
from skyglint.echoes.drift import line_drift
from skyglint.echoes.echo import METEORIC, NAN, Echo, EchoClass, Snippet
from skyglint.echoes.envelope import burst_envelope
from skyglint.echoes.height import echo_height_km
from skyglint.echoes.measure import picture
from skyglint.echoes.overlap import later_onsets, tone_sd
from skyglint.echoes.plan import SearchPlan
from skyglint.echoes.spacecraft import Agreement, Line, best_agreement
from skyglint.echoes.tone_bursts import ToneBurst
from skyglint.echoes.tone_fit import ToneFit, fit_tone

Floats = NDArray[np.float64]

_PARTS = 10  # readings in a frame
_FRAME_THRESHOLD, _PAIR_THRESHOLD = 9.0, 11.7  # energy over noise density: noise exceeds each once in 8,000
_RECEIVER_SHARE = 1e-5  # what stands 50 dB below a burst beside it is the converter's and the whitener's own
_DRIFTING_HZ = 40.0
_FAST_HZ_S, _LONGEST_CHIRP_S, _CHIRP_MARGIN_S = 300.0, 1.5, 0.05
_MOSTLY, _ITS_OWN = 0.7, 0.4  # shares of a burst's energy


@dataclass(frozen=True, slots=True)
class Track:
    """The straight line in time and frequency that a burst follows.

    Attributes
    ----------
    centre_s
        Time within the burst at which the frequency is ``frequency_hz``.
    frequency_hz, rate_hz_s
        Frequency, and its rate (zero unless it plainly drifts).
    span_hz
        How far the frequency moved.
    """

    centre_s: float
    frequency_hz: float
    rate_hz_s: float
    span_hz: float


@dataclass(frozen=True, slots=True)
class _Followed:
    """A burst along a track: readings, each frame's E/N0, first and last frame, and the tone fitted to it."""

    track: Track
    readings: NDArray[np.complex64]
    power: Floats
    start: int
    stop: int
    tone: ToneFit | None

    @property
    def energy(self) -> float:
        """E/N0 of the burst."""
        return float(self.power[self.start : self.stop].sum())

    @property
    def explained(self) -> float:
        """E/N0 of the fitted tone."""
        return self.tone.explained if self.tone else 0.0


def burst_track(burst: ToneBurst, rate_hz: float) -> Track:
    """Fit a line through a burst's hits, weighted by their energy; times from the burst's start."""
    energy = np.array([hit.energy for hit in burst.hits])
    time = np.array([(hit.sample - burst.start) / rate_hz + 0.5 * hit.decay_s for hit in burst.hits])
    frequency = np.array([hit.frequency_hz for hit in burst.hits])
    keep = energy >= 0.1 * energy.max()
    energy, time, frequency = energy[keep], time[keep], frequency[keep]
    centre, middle = np.average(time, weights=energy), np.average(frequency, weights=energy)
    spread = np.average((time - centre) ** 2, weights=energy)
    span = float(np.ptp(frequency))
    if len(time) < 4 or span < _DRIFTING_HZ or spread <= 0:
        return Track(float(centre), burst.best.frequency_hz, 0.0, span)
    slope = np.average((time - centre) * (frequency - middle), weights=energy) / spread
    return Track(float(centre), float(middle), float(slope), span)


class CarrierMeter:
    """Makes echoes of closed bursts.

    ``surroundings`` are all channels of the site; ``places`` are the carriers' numbers among them.
    """

    def __init__(
        self,
        plan: SearchPlan,
        search: CarrierSearch,
        start_unix: float,
        surroundings: Surroundings,
        places: tuple[int, ...],
    ) -> None:
        self._surroundings, self._places = surroundings, places
        self._plan, self._search, self._start_unix = plan, search, start_unix

    def measure(self, item: ClosedTone, ending: bool = False) -> Echo:
        """Return the echo of a closed burst; ``ending``: the stretch ends at ``item.now``."""
        frame_s, burst = self._plan.frame_s, item.burst
        first = max(burst.start // self._search.per_frame - 20, 0)
        last = min(burst.stop // self._search.per_frame + 50, item.now // self._search.per_frame)
        seen = self._followed(item, first, last)
        track, readings, tone, start, stop = seen.track, seen.readings, seen.tone, seen.start, seen.stop
        inside = seen.power[start:stop]
        peak = int(np.argmax(inside))
        envelope = burst_envelope(np.maximum(inside, 0.0), frame_s, 4.0)
        decay = _as_decay(tone, inside) if tone else None
        evidence = Evidence(
            kind="carrier",
            guard=bool(self._plan.guard[item.channel]),
            duration_s=len(inside) * frame_s,
            peak_snr_db=float(10 * np.log10(max(inside[peak], 0.1) / frame_s)),
            strength=burst.best.energy / self._search.threshold(item.channel),
            overlong=burst.overlong,
            envelope=envelope,
            decay=decay,
            company=self._surroundings.company(
                self._places[item.channel],
                first + start,
                inside,
                self._plan.frames(self._plan.settings.longest_echo_s),
                _breadth(burst),
            ),
            colour=None,
            doppler_hz=track.frequency_hz,
            doppler_rate_hz_s=track.rate_hz_s,
            doppler_span_hz=track.span_hz,
            drift=line_drift(burst.hits, self._search.rate_hz),
            spacecraft=self._spacecraft(item, float(10 * np.log10(max(inside[peak], 0.1) / frame_s))),
        )
        verdict = classify(evidence)
        underdense = verdict.echo_class == "underdense" and decay is not None
        height, height_sd = (
            echo_height_km(self._plan, item.channel, decay.decay_time_s, decay.decay_time_sd_s)
            if underdense and decay
            else (NAN, NAN)
        )
        doppler, doppler_sd, rate = _doppler(tone, track, readings, frame_s / _PARTS, underdense)
        return Echo(
            channel=self._plan.channels[item.channel].name,
            start_unix=self._unix(first + start),
            duration_s=evidence.duration_s,
            peak_unix=self._unix(first + start + peak) + frame_s / 2,
            peak_snr_db=evidence.peak_snr_db,
            energy_snr_s=float(inside.sum()),
            echo_class=verdict.echo_class,
            class_probability=verdict.probability,
            reason=verdict.reason,
            decay_time_s=decay.decay_time_s if underdense and decay else NAN,
            decay_time_sd_s=decay.decay_time_sd_s if underdense and decay else NAN,
            doppler_hz=doppler,
            doppler_sd_hz=doppler_sd,
            doppler_rate_hz_s=rate,
            height_km=height,
            height_sd_km=height_sd,
            flags=self._flags(item, first + start, first + stop, ending, verdict.echo_class, inside),
            snippet=self._snippet(item, first + start, first + stop),
            details={
                "strength": evidence.strength,
                "energy_to_noise": burst.best.energy,
                "window_s": burst.best.decay_s,
                "span_hz": track.span_hz,
            },
        )

    def _spacecraft(self, item: ClosedTone, peak_snr_db: float) -> Agreement | None:
        """Return the spacecraft on whose predicted curve the burst's hits lie, if there is one."""
        channel, hits = self._plan.channels[item.channel], item.burst.hits
        decay_s = np.array([hit.decay_s for hit in hits])
        unix = self._start_unix + np.array([hit.sample for hit in hits]) / self._search.rate_hz + 0.5 * decay_s
        curves = self._plan.expected(channel.name, float(unix.min()), float(unix.max()))
        if not curves:
            return None
        shift_hz, energy = np.array([hit.frequency_hz for hit in hits]), np.array([hit.energy for hit in hits])
        about = (peak_snr_db, channel.frequency_hz, channel.bandwidth_hz)
        return best_agreement(Line(unix, shift_hz, energy, decay_s, *about), curves)

    def _followed(self, item: ClosedTone, first: int, last: int) -> _Followed:
        """Return the burst along its track: one of a steady frequency if a trail there explains it best."""
        track = burst_track(item.burst, self._search.rate_hz)
        if abs(track.rate_hz_s) >= _FAST_HZ_S and track.span_hz <= _LONGEST_CHIRP_S * abs(track.rate_hz_s):
            track = self._chirped(item, track)
        moving = self._along(item, track, first, last)
        if track.span_hz < _DRIFTING_HZ:
            return moving
        # A strong trail's hits scatter in frequency while it forms.
        still = self._along(item, Track(track.centre_s, item.burst.best.frequency_hz, 0.0, 0.0), first, last)
        return still if still.explained >= max(moving.explained, _MOSTLY * still.energy) else moving

    def _chirped(self, item: ClosedTone, track: Track) -> Track:
        """Return a fast chirp's track by maximum likelihood: its hits lie where windows of other lengths saw it."""
        rate_hz, span_s = self._search.rate_hz, track.span_hz / abs(track.rate_hz_s)
        middle = item.burst.start + round(track.centre_s * rate_hz)
        reach = round((span_s + _CHIRP_MARGIN_S) * rate_hz)
        start, stop = max(middle - reach, 0), min(middle + reach, item.now)
        samples = self._search.samples(item.channel, start, stop)
        centre_s = (middle - start) / rate_hz
        frequency, rate = chirp_line(samples, rate_hz, centre_s, span_s + _CHIRP_MARGIN_S, track.rate_hz_s)
        return Track(track.centre_s, frequency, rate, abs(rate) * span_s)

    def _along(self, item: ClosedTone, track: Track, first: int, last: int) -> _Followed:
        readings = self._demodulated(item, track, first, last)
        power = np.abs(readings.reshape(-1, _PARTS).sum(axis=1)) ** 2 / _PARTS - 1.0  # E/N0 in each frame
        start, stop = self._extent(power, item.burst, first)
        tone = self._fit(readings, item.burst, first, start, stop, self._plan.frame_s)
        return _Followed(track, readings, power, start, stop, tone)

    def _demodulated(self, item: ClosedTone, track: Track, first: int, last: int) -> NDArray[np.complex64]:
        """Return the burst shifted to 0 Hz along its track, ``_PARTS`` readings a frame, noise of unit variance."""
        per_frame, rate_hz = self._search.per_frame, self._search.rate_hz
        samples = self._search.samples(item.channel, first * per_frame, last * per_frame)
        time = (np.arange(len(samples)) + 0.5 + first * per_frame - item.burst.start) / rate_hz - track.centre_s
        phase = track.frequency_hz * time + 0.5 * track.rate_hz_s * time**2
        shifted = samples * np.exp(-2j * np.pi * (phase % 1.0))
        edges = np.linspace(0, per_frame, _PARTS, endpoint=False).astype(np.int64)
        places = (np.arange(last - first)[:, None] * per_frame + edges).ravel()
        counts = np.diff(np.append(places, len(samples)))
        return np.asarray(np.add.reduceat(shifted, places) / np.sqrt(counts), dtype=np.complex64)

    def _extent(self, power: Floats, burst: ToneBurst, first: int) -> tuple[int, int]:
        """Return the first and last frame above the threshold, within joining distance of the burst's hits."""
        seen = power + 1.0
        least = _RECEIVER_SHARE * float(seen.max(initial=0.0))
        above = seen > max(_FRAME_THRESHOLD, least)
        pair = seen[:-1] + seen[1:] > max(_PAIR_THRESHOLD, least)
        above[:-1] |= pair
        above[1:] |= pair
        per_frame = self._search.per_frame
        low, high = burst.start // per_frame - first - 3, -(-burst.stop // per_frame) - first
        best = (burst.best.sample + round(0.25 * burst.best.decay_s * self._search.rate_hz)) // per_frame - first
        frames = np.flatnonzero(above)
        frames = frames[(frames >= low) & (frames <= high + 20)]
        if len(frames) == 0:
            return self._window(power, burst, first)
        gap = max(self._plan.frames(self._plan.settings.join_least_s), min((high - low) // 2, 100))
        anchor = int(np.argmin(np.abs(frames - best)))
        breaks = np.flatnonzero(np.diff(frames) > gap)
        begin = breaks[breaks < anchor]
        end = breaks[breaks >= anchor]
        start = int(frames[begin[-1] + 1 if len(begin) else 0])
        stop = int(frames[end[0] if len(end) else -1]) + 1
        # A weak burst stands above the threshold as a whole, not in its frames: such a frame is noise's.
        if power[start:stop].sum() < _ITS_OWN * burst.best.energy:
            return self._window(power, burst, first)
        return start, stop

    def _window(self, power: Floats, burst: ToneBurst, first: int) -> tuple[int, int]:
        """Return the first and last frame of the window that holds the burst best."""
        length = max(round(burst.best.decay_s / self._plan.frame_s), 1)
        onset = burst.best.sample // self._search.per_frame - first
        start = int(np.clip(onset, 0, max(len(power) - length, 0)))
        return start, min(start + length, len(power))

    def _fit(
        self, readings: NDArray[np.complex64], burst: ToneBurst, first: int, start: int, stop: int, frame_s: float
    ) -> ToneFit | None:
        low = max(start - 10, 0)
        high = min(stop + max(20, (stop - start) // 2), len(readings) // _PARTS)
        part = readings[low * _PARTS : high * _PARTS]
        if len(part) < 12:
            return None
        begin = burst.best.sample / self._search.rate_hz - (first + low) * frame_s
        return fit_tone(part, _PARTS / frame_s, begin, burst.best.decay_s, 0.0)

    def _flags(
        self, item: ClosedTone, start: int, stop: int, ending: bool, echo_class: EchoClass, energy: Floats
    ) -> tuple[str, ...]:
        told = {
            "clipped": float(self._search.clipped.view(start, stop).max(initial=0.0)) > 1e-3,
            "gap": start <= 2 or (ending and stop * self._search.per_frame >= item.now - 2 * self._search.per_frame),
            "long": item.burst.overlong,
            "merged": echo_class in METEORIC and later_onsets(energy, self._plan.frame_s, tone_sd(energy)) > 0,
        }
        return tuple(sorted(name for name, holds in told.items() if holds))

    def _snippet(self, item: ClosedTone, start: int, stop: int) -> Snippet:
        settings, channel = self._plan.settings, item.channel
        begin = max(start - self._plan.frames(settings.snippet_before_s), 0)
        end = min(stop + self._plan.frames(settings.snippet_after_s), item.now // self._search.per_frame)
        end = min(end, begin + self._plan.frames(settings.snippet_longest_s))
        spectra = self._search.spectra.view(channel, begin, end)
        usable = self._plan.grids[channel].usable
        excess = (spectra[:, usable] / item.noise[usable]).max(axis=1, initial=0.0) - 1.0
        offsets = self._plan.grids[channel].offsets_hz
        return picture(self._unix(begin), self._plan.frame_s, excess.astype(np.float64), offsets, spectra, item.noise)

    def _unix(self, frame: int) -> float:
        return self._start_unix + frame * self._plan.frame_s


def _breadth(burst: ToneBurst) -> float:
    """Return the share of the channel's bands that rose together: noise fills it, a tone does not."""
    energy = np.array([hit.energy for hit in burst.hits])
    return float(np.average([hit.breadth for hit in burst.hits], weights=energy))


def _as_decay(tone: ToneFit, power: Floats) -> Decay:
    """Return a fitted tone as a decay; what of the energy it does not explain is its scatter."""
    total = float(power.sum())
    unexplained = max(1.0 - tone.explained / max(total, 1e-9), 0.0)
    # The energy itself is known to sqrt(2 E/N0 + n): less than that is no misfit.
    noise = np.sqrt(2.0 * max(total, 0.0) + len(power)) / max(total, 1e-9)
    return Decay(
        tone.decay_time_s,
        tone.decay_time_sd_s,
        tone.start_s,
        NAN,
        NAN,
        tone.carrier_to_noise_hz,
        1.0 + unexplained * max(total, 0.0),
        float(max(unexplained - 2.0 * noise, 0.0)),
        2 * len(power),
    )


def _doppler(
    tone: ToneFit | None, track: Track, readings: NDArray[np.complex64], step_s: float, underdense: bool
) -> tuple[float, float, float]:
    """Return shift, its standard error and its rate: of the fitted tone, or else of the phase, weighted by power."""
    if tone is not None and underdense:
        seen = abs(tone.rate_hz_s) > 3.0 * tone.rate_sd_hz_s and tone.rate_sd_hz_s < 20.0
        rate = track.rate_hz_s + tone.rate_hz_s if seen or track.rate_hz_s else NAN
        return track.frequency_hz + tone.frequency_hz, tone.frequency_sd_hz, rate
    turns = readings[1:] * readings[:-1].conj()
    parts = np.array([part.sum() for part in np.array_split(turns, 12)])
    whole = parts.sum()
    left_out = np.angle((whole - parts) * np.conj(whole)) / (2 * np.pi * step_s)  # jackknife: Efron (1982)
    error = float(np.sqrt((len(parts) - 1) / len(parts) * np.square(left_out - left_out.mean()).sum()))
    return (
        track.frequency_hz + float(np.angle(whole)) / (2 * np.pi * step_s),
        error,
        track.rate_hz_s if track.rate_hz_s else NAN,
    )
