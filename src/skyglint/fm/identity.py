"""Who a burst was: PI code, declared station or another, stereo pilot, mean frequency; all from its samples alone."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from skyglint.fm.channelise import channelise
from skyglint.fm.decoder import ACCEPTED_BELOW, Reading, decode
from skyglint.fm.discriminator import demodulate
from skyglint.fm.groups import read_groups, station_name
from skyglint.fm.mean_offset import mean_offset
from skyglint.fm.pi_codes import call_letters, is_variant
from skyglint.fm.pilot import Pilot, find_pilot
from skyglint.fm.subcarrier import receive

#: Shortest burst worth demodulating: less holds neither a pilot's line nor one RDS block (26 bits take 21.9 ms).
SHORTEST_S = 0.02
#: Of a longer burst the strongest stretch of this length is used: 57 groups say all that there is to say.
LONGEST_S = 5.0

Confirmation = Literal["same", "other", ""]


@dataclass(frozen=True, slots=True)
class Identity:
    """What a burst says about its station. Empty text and NaN mean "not measured".

    Attributes
    ----------
    pi
        PI code, four hex digits: read blind, or the declared one when its presence was confirmed.
    ps
        Station name of eight characters, where the burst held all of it.
    confirmed
        ``same`` when the declared station was confirmed, ``other`` when a different one is certain.
    blocks
        RDS blocks that arrived without error.
    wrong_probability
        Probability that ``pi`` is wrong; NaN without one.
    pilot_snr_db, pilot_hz
        Power of the line at 19 kHz over the noise in 1 Hz, and its frequency on the receiver's sampling clock; NaN
        without a pilot.
    stereo
        Whether there is a pilot, at a false-alarm probability below 1e-4.
    mean_offset_hz, mean_offset_sd_hz
        Mean frequency of the burst relative to the channel, and its standard error; NaN when too uncertain to use.
    sentence
        The result in words, with the numbers.
    """

    pi: str = ""
    ps: str = ""
    confirmed: Confirmation = ""
    blocks: int = 0
    wrong_probability: float = math.nan
    pilot_snr_db: float = math.nan
    pilot_hz: float = math.nan
    stereo: bool = False
    mean_offset_hz: float = math.nan
    mean_offset_sd_hz: float = math.nan
    sentence: str = "Not identified: the burst is too short."


def identify(
    samples: NDArray[np.complex64],
    sample_rate_hz: float,
    offset_hz: float = 0.0,
    declared_pi: str = "",
    candidates: Iterable[str] = (),
) -> Identity:
    """Say which station a burst on an FM channel came from.

    Parameters
    ----------
    samples
        Complex baseband of the burst, shape (n,), at 200,000 samples a second or more. Margins without signal cost
        certainty: cut the burst at its threshold.
    offset_hz
        Frequency of the channel's centre in that baseband.
    declared_pi
        PI code that the channel should carry, four hex digits; empty when unknown.
    candidates
        PI codes of the stations listed for the frequency.

    Raises
    ------
    ValueError
        If a code is not four hex digits.
    """
    declared = _code(declared_pi) if declared_pi else None
    listed = [_code(candidate) for candidate in candidates]
    if len(samples) < SHORTEST_S * sample_rate_hz or not np.any(samples):
        return Identity()
    strongest = strongest_stretch(samples, round(LONGEST_S * sample_rate_hz))
    multiplex = demodulate(*channelise(strongest, sample_rate_hz, offset_hz))
    pilot = find_pilot(multiplex)
    reading = decode(receive(multiplex, pilot.frequency_hz if pilot.present else None), declared, listed)
    pi, confirmed, wrong = _verdict(reading, declared)
    groups = read_groups(reading.soft_bits, reading.alignment) if reading and pi else []
    blocks = sum(group.whole_blocks for group in groups)
    mean_hz, mean_sd_hz = mean_offset(multiplex)
    return Identity(
        pi=pi,
        ps=station_name(groups),
        confirmed=confirmed,
        blocks=blocks,
        wrong_probability=wrong,
        pilot_snr_db=pilot.snr_db if pilot.present else math.nan,
        pilot_hz=pilot.frequency_hz if pilot.present else math.nan,
        stereo=pilot.present,
        mean_offset_hz=mean_hz,
        mean_offset_sd_hz=mean_sd_hz,
        sentence=_sentence(pi, confirmed, blocks, wrong, declared_pi.upper(), pilot),
    )


def strongest_stretch(samples: NDArray[np.complex64], length: int) -> NDArray[np.complex64]:
    """Return the ``length`` samples in a row with the most energy, found in steps of a hundredth of the length."""
    if len(samples) <= length:
        return samples
    step = max(1, length // 100)
    rows = samples[: len(samples) // step * step].reshape(-1, step)
    energies = np.cumsum(np.concatenate([[0.0], np.square(np.abs(rows)).sum(axis=1)]))
    n_rows = length // step
    start = int(np.argmax(energies[n_rows:] - energies[:-n_rows])) * step
    return samples[start : start + length]


def _verdict(reading: Reading | None, declared: int | None) -> tuple[str, Confirmation, float]:
    """Return PI, confirmation and the probability that the PI is wrong."""
    if reading is None:
        return "", "", math.nan
    read = reading.wrong_probability < ACCEPTED_BELOW
    if declared is not None and reading.declared_wrong_probability < ACCEPTED_BELOW:
        return f"{declared:04X}", "same", reading.declared_wrong_probability
    if not read:
        return "", "", math.nan
    different = declared is not None and reading.code != declared and not is_variant(reading.code, declared)
    return f"{reading.code:04X}", "other" if different else "", reading.wrong_probability


def _sentence(pi: str, confirmed: Confirmation, blocks: int, wrong: float, declared_pi: str, pilot: Pilot) -> str:
    odds = f"probability of error {wrong:.0e}" if wrong >= 1e-12 else "probability of error below 1e-12"
    whole = f"{blocks} RDS block{'' if blocks == 1 else 's'} without error"
    letters = call_letters(int(pi, 16)) if pi else ""
    code = f"PI {pi}" + (f" (in North America {letters})" if letters else "")
    if confirmed == "same":
        return f"The declared station: {code} confirmed, {whole}, {odds}."
    if confirmed == "other":
        return f"Another station on this frequency: {code} instead of {declared_pi}, {whole}, {odds}."
    if pi and declared_pi:
        return f"{code} read, {whole}, {odds}: it may be a variant of the declared {declared_pi}."
    if pi:
        return f"{code} read, {whole}, {odds}."
    if pilot.present:
        return (
            f"An FM stereo station: pilot {pilot.snr_db:.0f} dB over the noise in 1 Hz, "
            f"false-alarm probability {max(pilot.false_alarm_probability, 1e-12):.0e}; RDS not readable."
        )
    return "Not identified: neither RDS nor a stereo pilot stands out."


def _code(text: str) -> int:
    if not re.fullmatch(r"[0-9A-Fa-f]{4}", text):
        raise ValueError(f"PI code {text!r}: expected four hex digits, like 'D3A1'")
    return int(text, 16)
