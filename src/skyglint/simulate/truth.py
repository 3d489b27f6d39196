"""The truth: what is in a simulated recording, in the words of the table of echoes; written and read as CSV."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import numpy as np

from skyglint.echoes.echo import CLASSES, NAN, EchoClass
from skyglint.errors import RequestError, SourceError
from skyglint.simulate.arrival import Arrival
from skyglint.utc import format_utc, parse_utc

#: Stands for the channel of what hits every channel at once.
EVERY_CHANNEL = "*"

#: A frame of 10 ms reaches a false-alarm probability of 1e-6 at this SNR: in 200 kHz (Urkowitz 1967, TB = 2000, half of
#: the frames found), and for a tone of unknown phase, over 1 Hz (E/N0 of 11.2 dB in 10 ms). ``duration_s`` is the time
#: above it, as a detector would see it.
VISIBLE_SNR_DB = {"fm": -9.58, "carrier": 31.24}


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """One thing that is in the recording.

    Fields are those of :class:`skyglint.echoes.echo.Echo`; ``transmitter`` is the station that lit it (empty for what
    none lit), ``channel`` may be :data:`EVERY_CHANNEL`, SNR is over the receiver's noise alone, and NaN or empty text
    mean "does not apply".
    """

    channel: str
    transmitter: str
    start_unix: float
    duration_s: float
    peak_unix: float
    peak_snr_db: float
    energy_snr_s: float
    echo_class: EchoClass
    decay_time_s: float = NAN
    doppler_hz: float = NAN
    doppler_rate_hz_s: float = NAN
    height_km: float = NAN
    rds_pi: str = ""

    @property
    def end_unix(self) -> float:
        """End of the time above the level that a detector sees."""
        return self.start_unix + self.duration_s


@dataclass(frozen=True, slots=True)
class Truth:
    """What is in a recording: events by start time, and spans without samples as (start_unix, end_unix)."""

    events: tuple[TrueEvent, ...]
    losses: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Visible:
    """When an arrival stands above a level: start and duration in seconds, peak time, and the energy, SNR x seconds."""

    start_s: float
    duration_s: float
    peak_s: float
    energy_snr_s: float


def visible(arrival: Arrival, level_snr_db: float) -> Visible:
    """Measure an arrival whose power is its SNR; if it never reaches the level, its half-power width counts."""
    power = np.abs(arrival.gain).astype(np.float64) ** 2
    level = min(10 ** (level_snr_db / 10), power.max() / 2)
    above = np.flatnonzero(power >= level)
    first, last = int(above[0]), int(above[-1])
    return Visible(
        arrival.start_s + first * arrival.step_s,
        (last - first) * arrival.step_s,
        arrival.strongest_frame_s(),
        float(np.trapezoid(power) * arrival.step_s),
    )


_TIMES = {"start_unix": "start_utc", "peak_unix": "peak_utc"}
_NAMES = {"echo_class": "class", **_TIMES}
_FIELDS = [each.name for each in fields(TrueEvent)]
COLUMNS = tuple(_NAMES.get(name, name) for name in _FIELDS)
_TEXT = {"channel", "transmitter", "echo_class", "rds_pi"}
_LOSS = "lost"


def truth_path(recording: Path) -> Path:
    """Return where the truth of a recording stands: beside it, as ``NAME.truth.csv``."""
    stem = recording.name.removesuffix(".sigmf-meta").removesuffix(".sigmf-data")
    return recording.with_name(f"{stem}.truth.csv")


def write_truth(truth: Truth, path: Path) -> None:
    """Write one line an event, by start time; spans without samples have the class ``lost``.

    Raises
    ------
    SourceError
        If the file cannot be written.
    """
    losses: list[Sequence[str]] = [
        [EVERY_CHANNEL, "", format_utc(start), f"{end - start:.6g}", "", "", "", _LOSS, *[""] * 5]
        for start, end in truth.losses
    ]
    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(COLUMNS)
            writer.writerows([*(_line(event) for event in truth.events), *losses])
    except OSError as error:
        raise SourceError(f"{path}: cannot be written: {error.strerror}") from error


def _line(event: TrueEvent) -> Sequence[str]:
    return [_written(name, value) for name, value in zip(_FIELDS, astuple(event), strict=True)]


def _written(name: str, value: object) -> str:
    if not isinstance(value, float):
        return str(value)
    if name in _TIMES:
        return format_utc(value)
    return "" if np.isnan(value) else f"{value:.6g}"


def read_truth(path: Path) -> Truth:
    """Read a truth file.

    Raises
    ------
    RequestError
        If it is missing or is not one; the message names the line.
    """
    try:
        with path.open(newline="", encoding="utf-8") as file:
            reader = csv.DictReader(file)
            if tuple(reader.fieldnames or ()) != COLUMNS:
                raise RequestError(f"{path}: line 1 is {reader.fieldnames}: expected {', '.join(COLUMNS)}")
            return _collected(path, list(reader))
    except FileNotFoundError as error:
        raise RequestError(f"{path}: no such truth file") from error
    except UnicodeDecodeError as error:
        raise RequestError(f"{path}: not a text file in UTF-8 (byte {error.start})") from error
    except OSError as error:
        raise RequestError(f"{path}: cannot be read: {error.strerror}") from error


def _collected(path: Path, rows: list[dict[str, str]]) -> Truth:
    events, losses = [], []
    for number, row in enumerate(rows, start=2):
        try:
            if row["class"] == _LOSS:
                start = parse_utc(row["start_utc"])
                losses.append((start, start + float(row["duration_s"])))
            else:
                events.append(_event(row))
        except (ValueError, AttributeError, TypeError) as error:
            raise RequestError(f"{path}: line {number}: {error}") from error
    return Truth(tuple(events), tuple(losses))


def _event(row: dict[str, str]) -> TrueEvent:
    if row["class"] not in CLASSES:
        raise ValueError(f'class "{row["class"]}": expected one of {", ".join(CLASSES)}')
    values: dict[str, object] = {}
    for name in _FIELDS:
        text = row[_NAMES.get(name, name)]
        if name in _TEXT:
            values[name] = text
        elif name in _TIMES:
            values[name] = parse_utc(text)
        else:
            values[name] = float(text) if text else NAN
    return TrueEvent(**values)  # type: ignore[arg-type]
