"""SigMF captures on the axis of time: which follow each other unbroken, and where samples are missing.

A capture that states a time within its tolerance of the running count of samples continues the stretch. The tolerance
is two samples, or the last printed digit of the time where that is coarser (but at most a millisecond). A later time is
a gap. An *earlier* time says that the recorder's clock was set back; nobody can tell which of its times was right, so
times go on by the count of samples, and a gap of no length at that place says by how much the clock went back. After a
step of a second or more, later captures are taken to be on the new clock, so that their gaps keep their length; less is
the jitter of a computer's clock, and later times are taken as they stand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from skyglint.signals.block import Gap
from skyglint.signals.recording import Extent, Stretch

TOLERANCE_SAMPLES = 2
TOLERANCE_S = 1e-3
#: Steps of a clock from here on are corrections by hand or of the time zone, not jitter (common practice).
CLOCK_STEP_S = 1.0

NOT_RECORDED = "nothing recorded between two captures"
CUT_OFF = "recording ends before its stated length"
INCOMPLETE = "the last sample is incomplete"


@dataclass(frozen=True, slots=True)
class Capture:
    """What the metadata says of one run of samples.

    Attributes
    ----------
    sample_start
        Index of its first sample in the file.
    header_bytes
        Bytes before it that are no samples.
    center_frequency_hz
        Radio frequency of 0 Hz baseband.
    stated_unix, resolution_s
        Its stated time and the last printed digit of it; ``None`` where none is stated.
    global_index
        Index of its first sample in the stream with the lost ones counted; ``None`` where none is stated.
    """

    sample_start: int
    header_bytes: int
    center_frequency_hz: float
    stated_unix: float | None
    resolution_s: float
    global_index: int | None


@dataclass(frozen=True, slots=True)
class Store:
    """Where samples end in the file, and where they should.

    Attributes
    ----------
    end_byte
        End of the samples in the file.
    bytes_per_sample
        Of a complex (or real) sample.
    sample_rate_hz
        Of all captures.
    stated_samples
        How many samples the metadata tells of; 0 where it tells nothing.
    """

    end_byte: int
    bytes_per_sample: int
    sample_rate_hz: float
    stated_samples: int


def lay_out(captures: Sequence[Capture], store: Store) -> tuple[list[Stretch | Gap], float]:
    """Return stretches and gaps in order of time, and the stated end of the recording (POSIX seconds).

    Parameters
    ----------
    captures
        At least one, by sample index; the first states its time.
    """
    parts: list[Stretch | Gap] = []
    rate_hz = store.sample_rate_hz
    now_unix, shift_s = captures[0].stated_unix or 0.0, 0.0
    headers, cut_off_unix = 0, None
    following = [*captures[1:], None]
    for number, (capture, after) in enumerate(zip(captures, following, strict=True)):
        headers += capture.header_bytes
        lost_s = _lost_s(captures[number - 1], capture, now_unix - shift_s, rate_hz) if number else 0.0
        if lost_s < 0:
            parts.append(Gap(now_unix, now_unix, _set_back(number, lost_s)))
            shift_s -= lost_s if lost_s <= -CLOCK_STEP_S else 0.0
        elif lost_s > 0:
            parts.append(Gap(now_unix, now_unix + lost_s, NOT_RECORDED))
            now_unix += lost_s
        begin_byte = headers + capture.sample_start * store.bytes_per_sample
        there = max(0, (store.end_byte - begin_byte) // store.bytes_per_sample)
        stated = after.sample_start - capture.sample_start if after else store.stated_samples - capture.sample_start
        stated = stated if after else max(there, stated)
        there = min(there, stated)
        if there:
            _append(parts, Stretch(now_unix, capture.center_frequency_hz, (Extent(begin_byte, there),)))
        if there < stated and cut_off_unix is None:
            cut_off_unix = now_unix + there / rate_hz
        now_unix = _end_unix(parts, now_unix, there, stated, rate_hz)
    if cut_off_unix is not None:
        parts = [part for part in parts if part.start_unix < cut_off_unix]
        parts.append(Gap(cut_off_unix, now_unix, CUT_OFF))
    elif (store.end_byte - headers) % store.bytes_per_sample:
        parts.append(Gap(now_unix, now_unix + 1 / rate_hz, INCOMPLETE))
    return parts, now_unix


def _lost_s(before: Capture, capture: Capture, now_unix: float, rate_hz: float) -> float:
    """Return the seconds lost before a capture: 0 where it continues, negative where the clock was set back."""
    by_index = 0.0
    if capture.global_index is not None and before.global_index is not None:
        passed = capture.global_index - before.global_index
        by_index = max(0.0, (passed - capture.sample_start + before.sample_start) / rate_hz)
    if capture.stated_unix is None:
        return by_index
    by_clock = capture.stated_unix - now_unix
    tolerance_s = max(TOLERANCE_SAMPLES / rate_hz, min(TOLERANCE_S, capture.resolution_s + before.resolution_s))
    if abs(by_clock - by_index) <= tolerance_s:
        return by_index
    return by_clock


def _set_back(number: int, lost_s: float) -> str:
    return f"clock set back by {-lost_s:.6g} s before capture {number}; times go on by the count of samples"


def _append(parts: list[Stretch | Gap], piece: Stretch) -> None:
    last = parts[-1] if parts else None
    if isinstance(last, Stretch) and last.center_frequency_hz == piece.center_frequency_hz:
        parts[-1] = Stretch(last.start_unix, last.center_frequency_hz, last.extents + piece.extents)
    else:
        parts.append(piece)


def _end_unix(parts: list[Stretch | Gap], now_unix: float, there: int, stated: int, rate_hz: float) -> float:
    last = parts[-1] if parts else None
    if there == stated and isinstance(last, Stretch):
        # From the stretch's start: a sum over many captures would collect rounding errors.
        return last.start_unix + last.n_samples / rate_hz
    return now_unix + stated / rate_hz
