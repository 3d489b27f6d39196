"""A simulated recording: every block from the stations to the converter, and the file with its truth."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from skyglint.errors import RequestError
from skyglint.signals.block import Encoding
from skyglint.signals.encodings import encode, encoding_named
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.simulate.arrival import Arrival
from skyglint.simulate.receiver import GainWander, fast_random, spoil, step_gain_db, white_noise
from skyglint.simulate.scenario import Scenario
from skyglint.simulate.schedule import schedule
from skyglint.simulate.synthesis import Synthesizer, emitters_for, rates_for
from skyglint.simulate.truth import Truth, truth_path, write_truth

Progress = Callable[[float], None]


class Sink(Protocol):
    """Takes raw values capture by capture; :class:`skyglint.signals.sigmf_writer.SigMFWriter` is one."""

    def capture(self, start_unix: float, center_frequency_hz: float) -> None:
        """Begin a capture: the next value was taken at this time and frequency."""
        ...

    def write(self, values: NDArray[Any]) -> None:
        """Append raw values."""
        ...


@dataclass(frozen=True, slots=True)
class Stretch:
    """Consecutive samples: seconds after the start by true time, and complex64 samples, full scale 1."""

    start_s: float
    first_sample: int
    samples: NDArray[np.complex64]


def simulate(
    scenario: Scenario, to: Path, seed: int | None = None, *, force: bool = False, progress: Progress | None = None
) -> Truth:
    """Write the scenario's recording (SigMF) to ``to`` and its truth beside it; return the truth.

    Parameters
    ----------
    scenario
        What happens.
    to
        Name of the recording, with or without ``.sigmf-meta``.
    seed
        Of everything random; ``None`` takes the scenario's.
    force
        Whether to replace an existing recording.
    progress
        Called with the share done, 0 to 1.

    Raises
    ------
    RequestError
        If the recording exists, or the folder cannot be written to.
    SourceError
        If writing fails.
    """
    recording = scenario.recording
    if truth_path(to).exists() and not force:
        raise RequestError(f"{truth_path(to)}: exists; give --force to replace it")
    encoding = encoding_named(recording.format)
    fields = {"core:description": "Simulated", "core:hw": "none: simulated"}
    with SigMFWriter(to, encoding, recording.sample_rate_hz, force=force, fields=fields) as writer:
        truth = simulate_into(scenario, writer, encoding, seed, progress)
    write_truth(truth, truth_path(to))
    return truth


def simulate_into(
    scenario: Scenario, sink: Sink, encoding: Encoding, seed: int | None = None, progress: Progress | None = None
) -> Truth:
    """Send the scenario's raw values to a sink, a new capture after every loss; return the truth."""
    recording = scenario.recording
    random = np.random.default_rng(recording.seed if seed is None else seed)
    happening = schedule(scenario, random)
    rate_hz = true_rate_hz(scenario)
    lost = [
        (round((start - recording.start_unix) * rate_hz), round((end - recording.start_unix) * rate_hz))
        for start, end in happening.truth.losses
    ]
    noise = fast_random(int(random.integers(2**63)))
    for stretch in _stretches(scenario, happening.arrivals, happening.noise_bursts, noise):
        values = encode(stretch.samples, encoding)
        for begin, end, is_first in _kept(stretch.first_sample, len(stretch.samples), lost):
            if is_first:
                sink.capture(recording.start_unix + begin / rate_hz, recording.center_frequency_hz)
            offset = begin - stretch.first_sample
            sink.write(values[encoding.components * offset : encoding.components * (offset + end - begin)])
        if progress is not None:
            done_s = stretch.start_s + len(stretch.samples) / rate_hz
            progress(min(done_s / recording.duration_s, 1.0))
    return happening.truth


def true_rate_hz(scenario: Scenario) -> float:
    """Return how many samples the receiver really takes in a second, with its clock error."""
    return scenario.recording.sample_rate_hz * (1 + scenario.receiver.clock_error_ppm * 1e-6)


def _stretches(
    scenario: Scenario,
    arrivals: Sequence[Sequence[Arrival]],
    noise_bursts: Sequence[Arrival],
    random: np.random.Generator,
) -> Iterator[Stretch]:
    rates = rates_for(true_rate_hz(scenario))
    noise_power = 10 ** (scenario.recording.noise_dbfs / 10)
    synthesizer = Synthesizer(emitters_for(scenario, arrivals, rates, noise_power, random), rates)
    receiver = scenario.receiver
    wander = GainWander(receiver.gain_wander_db, receiver.gain_wander_s, random)
    total = round(scenario.recording.duration_s * rates.rate_hz)
    for first in range(0, total, rates.hop):
        samples = synthesizer.read()
        samples += white_noise(rates.hop, noise_power, random)
        start_s = first / rates.rate_hz
        for burst in noise_bursts:
            if burst.start_s <= start_s + rates.hop / rates.rate_hz and burst.end_s >= start_s:
                extra = white_noise(rates.hop, noise_power, random)
                samples += extra * burst.at(start_s, 1 / rates.rate_hz, rates.hop)
        _amplify(samples, scenario, wander, start_s, rates.rate_hz)
        yield Stretch(start_s, first, spoil(samples, receiver)[: total - first])


def _amplify(
    samples: NDArray[np.complex64], scenario: Scenario, wander: GainWander, start_s: float, rate_hz: float
) -> None:
    """Apply the gain's wandering and its steps, in place."""
    n = len(samples)
    if scenario.receiver.gain_wander_db:
        begin_db, end_db = wander.read(n / rate_hz)
        samples *= np.linspace(10 ** (begin_db / 20), 10 ** (end_db / 20), n, dtype=np.float32)
    touching = tuple(
        step
        for step in scenario.gain_step
        if step.start_s < start_s + n / rate_hz and step.start_s + step.duration_s > start_s
    )
    if touching:
        gain_db = step_gain_db(touching, start_s + np.arange(n) / rate_hz)
        samples *= (10 ** (gain_db / 20)).astype(np.float32)


def _kept(first: int, n: int, lost: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int, bool]]:
    """Yield (begin, end, starts a capture) for the samples of a block that are not lost."""
    begin, fresh = first, first == 0
    for lost_begin, lost_end in lost:
        if lost_end <= begin:
            fresh = fresh or lost_end == begin
            continue
        if lost_begin >= first + n:
            break
        if lost_begin > begin:
            yield begin, lost_begin, fresh
        begin, fresh = lost_end, True
    if begin < first + n:
        yield begin, first + n, fresh
