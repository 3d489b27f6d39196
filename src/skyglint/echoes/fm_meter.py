"""Measures a burst in an FM channel and gathers the evidence for telling it apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.beat import burst_beat
from skyglint.echoes.classify import Evidence, classify
from skyglint.echoes.colour import Colour, burst_colour
from skyglint.echoes.company import Company, Surroundings
from skyglint.echoes.decay import Decay, fit_decay
from skyglint.echoes.echo import METEORIC, NAN, Echo, EchoClass, Snippet
from skyglint.echoes.envelope import burst_envelope
from skyglint.echoes.fm_search import Closed, FmSearch
from skyglint.echoes.height import echo_height_km
from skyglint.echoes.measure import burst_strength, picture
from skyglint.echoes.overlap import later_onsets, noise_like_sd
from skyglint.echoes.plan import SearchPlan
from skyglint.echoes.swell import Swell, floor_swell, unrest

Floats = NDArray[np.float64]

_LONGEST_FIT = 240  # frames; longer bursts are fitted in means of several frames
_CLIPPED_SHARE = 1e-3
#: An echo teaches its station's spectrum from so many frames and such an SNR, times the root of their number, on: the
#: noise in a bin's share is then a tenth of what a programme puts there, and a flash of lightning is too short.
_LEAST_TEACHING_FRAMES, _LEAST_TEACHING_SNR = 5, 3.0
_BEFORE_S, _JUST_BEFORE_S = 15.0, 0.1


class FmMeter:
    """Makes echoes of closed bursts.

    ``surroundings`` are all channels of the site; ``places`` are the FM channels' numbers among them.
    """

    def __init__(
        self,
        plan: SearchPlan,
        search: FmSearch,
        start_unix: float,
        surroundings: Surroundings,
        places: tuple[int, ...],
    ) -> None:
        self._surroundings, self._places = surroundings, places
        self._plan, self._search, self._memory = plan, search, search.memory
        self._start_unix = start_unix

    def measure(self, item: Closed, ending: bool = False) -> Echo:
        """Return the echo of a closed burst; ``ending``: the stretch ends at ``item.now``."""
        channel, burst, frame_s = item.channel, item.burst, self._plan.frame_s
        excess = self._memory.power_excess.view(burst.start, burst.stop)[channel]
        strength = burst_strength(excess, frame_s)
        decay, colour, company = self._decay(item), self._colour(item), self._company(item)
        envelope = burst_envelope(excess, frame_s, self._search.lanes.plain_samples[channel])
        evidence = Evidence(
            kind="fm",
            guard=bool(self._plan.guard[channel]),
            duration_s=burst.n_frames * frame_s,
            peak_snr_db=float(10 * np.log10(max(strength.peak_snr, 1e-10))),
            strength=burst.strength,
            overlong=burst.overlong,
            envelope=envelope,
            decay=decay,
            company=company,
            colour=colour,
            swell=self._swell(item, envelope.strong),
            beat=burst_beat(excess, frame_s, self._search.lanes.plain_samples[channel]),
            unrest=self._unrest(item, envelope.strong),
        )
        verdict = classify(evidence)
        self._teach(item, verdict.echo_class, strength.peak_snr)
        decaying = decay if verdict.echo_class == "underdense" else None
        height, height_sd = (
            echo_height_km(self._plan, channel, decaying.decay_time_s, decaying.decay_time_sd_s)
            if decaying
            else (NAN, NAN)
        )
        return Echo(
            channel=self._plan.channels[channel].name,
            start_unix=self._unix(burst.start),
            duration_s=evidence.duration_s,
            peak_unix=self._unix(burst.start + strength.peak_frame) + frame_s / 2,
            peak_snr_db=evidence.peak_snr_db,
            energy_snr_s=strength.energy_snr_s,
            echo_class=verdict.echo_class,
            class_probability=verdict.probability,
            reason=verdict.reason,
            decay_time_s=decaying.decay_time_s if decaying else NAN,
            decay_time_sd_s=decaying.decay_time_sd_s if decaying else NAN,
            height_km=height,
            height_sd_km=height_sd,
            flags=self._flags(item, company, ending, verdict.echo_class),
            snippet=self._snippet(item),
            details=self._details(item, evidence),
        )

    def _decay(self, item: Closed) -> Decay | None:
        burst, channel = item.burst, item.channel
        start = max(burst.start - 10, 0)
        stop = min(burst.stop + max(10, burst.n_frames // 2), item.now)
        plain = self._memory.power_excess.view(start, stop)[channel]
        loud = plain[burst.start - start : burst.stop - start].max() > 1.0
        power = plain if loud else self._memory.excess.view(start, stop)[channel]
        samples = (
            self._search.lanes.plain_samples[channel]
            if loud
            else self._search.lanes.weightings[channel].samples_per_frame
        )
        group = -(-len(power) // _LONGEST_FIT)
        power = 1.0 + power[: len(power) // group * group].reshape(-1, group).mean(axis=1)
        peak = int(np.argmax(power))
        _, floor_sd = self._memory.floor(channel, burst.start)
        return fit_decay(power, group * self._plan.frame_s, group * samples, max(floor_sd, 1e-4), peak)

    def _core(self, item: Closed) -> tuple[NDArray[np.float32], Floats]:
        """Return the bin powers of a burst's stronger half, shape (n_frames, n_bins), and the noise in each bin."""
        burst, channel = item.burst, item.channel
        excess = self._memory.excess.view(burst.start, burst.stop)[channel]
        core = excess >= 0.5 * excess.max()
        level, _ = self._memory.floor(channel, burst.start)
        spectra = self._memory.spectra.view(channel, burst.start, burst.stop)[core]
        return spectra, self._search.lanes.bin_floor(channel) * level

    def _colour(self, item: Closed) -> Colour:
        grid = self._plan.grids[item.channel]
        spectra, noise = self._core(item)
        model = self._plan.spectra[item.channel]
        return burst_colour(spectra, noise, model, grid.usable, grid.offsets_hz, grid.samples_per_frame)

    def _teach(self, item: Closed, echo_class: EchoClass, peak_snr: float) -> None:
        """Let a strong meteor echo of a station teach the spectrum by which its weak ones are found."""
        if self._plan.channels[item.channel].role != "target" or echo_class not in METEORIC:
            return
        spectra, noise = self._core(item)
        if len(spectra) >= _LEAST_TEACHING_FRAMES and peak_snr * len(spectra) ** 0.5 >= _LEAST_TEACHING_SNR:
            signal = spectra.mean(axis=0, dtype=np.float64) - noise
            self._search.teach(item.channel, np.where(self._plan.grids[item.channel].usable, signal, 0.0))

    def _company(self, item: Closed) -> Company:
        own = self._memory.excess.view(item.burst.start, item.burst.stop)[item.channel]
        longest = self._plan.frames(self._plan.settings.longest_echo_s)
        return self._surroundings.company(self._places[item.channel], item.burst.start, own, longest)

    def _unrest(self, item: Closed, strong: float) -> float:
        stop = max(item.burst.start - self._plan.frames(_JUST_BEFORE_S), 0)
        start = max(stop - self._plan.frames(_BEFORE_S), item.now - self._memory.keep, 0)
        before = self._memory.power_excess.view(start, max(stop, start))[item.channel]
        return unrest(before, self._plan.frame_s, self._search.lanes.plain_samples[item.channel], strong)

    def _swell(self, item: Closed, strong: float) -> Swell:
        background = self._memory.background(item.channel, item.burst.start)
        return floor_swell(background, self._plan.frame_s * self._plan.frames_per_step, strong)

    def _flags(self, item: Closed, company: Company, ending: bool, echo_class: EchoClass) -> tuple[str, ...]:
        burst, channel = item.burst, self._plan.channels[item.channel]
        excess = self._memory.power_excess.view(burst.start, burst.stop)[item.channel]
        samples = self._search.lanes.plain_samples[item.channel]
        told = {
            "clipped": float(self._memory.clipped.view(burst.start, burst.stop).max()) > _CLIPPED_SHARE,
            "gap": burst.start <= 2 or (ending and burst.stop >= item.now - 2),
            "guard": channel.role != "guard" and company.in_guard,
            "long": burst.overlong,
            "merged": echo_class in METEORIC
            and later_onsets(excess, self._plan.frame_s, noise_like_sd(excess, samples)) > 0,
        }
        return tuple(sorted(name for name, holds in told.items() if holds))

    def _snippet(self, item: Closed) -> Snippet:
        settings, burst, channel = self._plan.settings, item.burst, item.channel
        start = max(burst.start - self._plan.frames(settings.snippet_before_s), 0)
        stop = min(burst.stop + self._plan.frames(settings.snippet_after_s), item.now)
        stop = min(stop, start + self._plan.frames(settings.snippet_longest_s))
        level, _ = self._memory.floor(channel, burst.start)
        return picture(
            self._unix(start),
            self._plan.frame_s,
            self._memory.power_excess.view(start, stop)[channel],
            self._plan.grids[channel].offsets_hz,
            self._memory.spectra.view(channel, start, stop),
            self._search.lanes.bin_floor(channel) * level,
        )

    def _details(self, item: Closed, evidence: Evidence) -> dict[str, float]:
        found = {
            "strength": item.burst.strength,
            "window_s": item.burst.window_frames * self._plan.frame_s,
            "rise_s": evidence.envelope.rise_s,
            "fading_hz": evidence.envelope.fades_hz if evidence.duration_s >= 1.0 else NAN,
            "others_up": float(evidence.company.others_up),
        }
        if evidence.colour:
            found |= {"programme_share": evidence.colour.programme, "line_share": evidence.colour.line_share}
        if evidence.decay:
            found |= {"fit_misfit": evidence.decay.misfit, "fit_decay_time_s": evidence.decay.decay_time_s}
        return {name: value for name, value in found.items() if np.isfinite(value)}

    def _unix(self, frame: int) -> float:
        return self._start_unix + frame * self._plan.frame_s
