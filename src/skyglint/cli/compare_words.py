"""Found against true, as a table in 80 columns."""

from __future__ import annotations

import math

from skyglint.station.compare import Comparison, Pair
from skyglint.utc import format_utc


def comparison_table(result: Comparison) -> list[str]:
    """Return the lines: a sentence, then a row a meteor."""
    lines = [
        f"Found {result.n_found} of {result.n_true} meteors, and {result.n_false} that were not there.",
        f"{'UTC':<12}{'channel':<12}{'true':>10} {'dB':>6} {'s':>7}   {'found':>10} {'dB':>6} {'s':>7}",
    ]
    return lines + [_row(pair) for pair in result.pairs]


def _row(pair: Pair) -> str:
    true, found = pair.true, pair.found.echo if pair.found else None
    start = true.start_unix if true else found.start_unix if found else math.nan
    channel = true.channel if true else found.channel if found else ""
    left = f"{true.echo_class:>10} {true.peak_snr_db:6.1f} {true.duration_s:7.2f}" if true else " " * 25
    right = f"{found.echo_class:>10} {found.peak_snr_db:6.1f} {found.duration_s:7.2f}" if found else f"{'-':>10}"
    return f"{format_utc(start)[11:22]:<12}{channel:<12}{left}   {right}".rstrip()
