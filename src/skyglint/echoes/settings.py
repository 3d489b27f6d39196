"""What an operator may set about detection: names, units, defaults, meaning, in one table."""

from __future__ import annotations

from dataclasses import dataclass, field, fields


def _setting(default: float, unit: str, meaning: str) -> float:
    value: float = field(default=default, metadata={"unit": unit, "meaning": meaning})
    return value


@dataclass(frozen=True, slots=True)
class DetectionSettings:
    """Settings of the detector; `settings_table` says what each means."""

    false_alarms_per_channel_hour: float = _setting(1.0, "1/h", "false echoes to accept in an hour of one channel")
    longest_echo_s: float = _setting(30.0, "s", "a burst that lasts longer is closed here and flagged long")
    join_least_s: float = _setting(0.15, "s", "bursts closer than this are one echo")
    join_most_s: float = _setting(1.0, "s", "bursts further apart than this are never one echo")
    join_share: float = _setting(0.5, "", "between these, the gap that is bridged as a share of the burst so far")
    opening_gap_s: float = _setting(10.0, "s", "after an overlong burst, weaker ones closer than this belong to it")
    warm_up_s: float = _setting(10.0, "s", "what is heard before the first floor is stated; searched all the same")
    snippet_before_s: float = _setting(1.0, "s", "picture before the start of an echo")
    snippet_after_s: float = _setting(1.0, "s", "picture after its end, as far as heard by then")
    snippet_longest_s: float = _setting(32.0, "s", "longest picture; a longer one is cut at its end")


def settings_table() -> list[tuple[str, float, str, str]]:
    """Return the settings as rows of name, default, unit and meaning.

    Examples
    --------
    >>> settings_table()[0][:3]
    ('false_alarms_per_channel_hour', 1.0, '1/h')
    """
    defaults = DetectionSettings()
    return [
        (row.name, getattr(defaults, row.name), row.metadata["unit"], row.metadata["meaning"])
        for row in fields(DetectionSettings)
    ]
