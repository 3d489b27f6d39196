"""What a scan found, in words and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from skyglint.echoes.echo import METEORIC
from skyglint.station.scan import Scanned
from skyglint.utc import format_utc

#: Channels that were watched within this of each other are told as one.
_ALIKE_S = 0.05


def in_words(results: Iterable[Scanned], into: Path) -> list[str]:
    """Return a few lines a recording."""
    lines = []
    for result in results:
        meteors = sum(count for (_, name), count in result.echoes.items() if name in METEORIC)
        others = sum(result.echoes.values()) - meteors
        lines.append(
            f"{result.name}: {meteors} {'echo' if meteors == 1 else 'echoes'}"
            + (f" and {others} that {'is' if others == 1 else 'are'} not meteors" if others else "")
            + f"; watched {_watched(result)} of {result.end_unix - result.start_unix:.1f} s"
            + f" from {format_utc(result.start_unix, 0)}."
        )
        lines += _less_watched(result)
        for (channel, name), count in sorted(result.echoes.items()):
            lines.append(f"  {channel}: {count} {name}")
        channels_lost = sorted(result.lost_reasons.items(), key=lambda item: -item[1])
        lines += [f"  lost {seconds:.1f} channel-seconds: {reason}" for reason, seconds in channels_lost]
        if result.clipped_share > 1e-4:
            lines.append(f"  {result.clipped_share:.2%} of the samples are clipped: lower the receiver's gain.")
    lines.append(f"Stored in {into}.")
    return lines


def _watched(result: Scanned) -> str:
    """Return the time watched, by all channels or from the least to the most of them."""
    least, most = min(result.watched_by_channel_s.values()), max(result.watched_by_channel_s.values())
    return f"{most:.1f} s" if most - least < _ALIKE_S else f"{least:.1f} to {most:.1f} s by channel"


def _less_watched(result: Scanned) -> list[str]:
    """Return a line for each channel that was watched for less time than others."""
    most = max(result.watched_by_channel_s.values())
    return [
        f"  {channel}: watched {seconds:.1f} s" if seconds else f"  {channel}: not watched"
        for channel, seconds in result.watched_by_channel_s.items()
        if most - seconds >= _ALIKE_S
    ]


def as_json(results: Iterable[Scanned], failures: list[str]) -> str:
    """Return one JSON document."""
    return json.dumps(
        {
            "recordings": [
                {
                    "name": result.name,
                    "start_utc": format_utc(result.start_unix),
                    "end_utc": format_utc(result.end_unix),
                    "watched_s": round(result.watched_s, 3),
                    "watched_by_channel_s": {
                        channel: round(seconds, 3) for channel, seconds in result.watched_by_channel_s.items()
                    },
                    "lost_s": round(result.lost_s, 3),
                    "lost_reasons": {reason: round(seconds, 3) for reason, seconds in result.lost_reasons.items()},
                    "clipped_share": result.clipped_share,
                    "echoes": [
                        {"channel": channel, "class": name, "count": count}
                        for (channel, name), count in sorted(result.echoes.items())
                    ],
                }
                for result in results
            ],
            "failures": failures,
        },
        indent=2,
    )
