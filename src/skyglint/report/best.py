"""Which echoes are worth a picture: the strongest of each kind in turn, so that no kind crowds out the others."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from skyglint.echoes.echo import EchoClass
from skyglint.store.records import StoredEcho

#: Taken in turn; the unknown fill what the others leave.
IN_TURN: tuple[EchoClass, ...] = ("underdense", "overdense", "head")


def choose_best(echoes: Sequence[StoredEcho], carriers: Collection[str], most: int) -> tuple[StoredEcho, ...]:
    """Return at most that many echoes, the strongest of each kind in turn.

    Parameters
    ----------
    echoes
        Those that count as meteors.
    carriers
        Channels of kind ``carrier``: their peaks are referred to 1 Hz and do not compare with the others', so they
        make kinds of their own.
    most
        How many.
    """
    ranked = sorted(echoes, key=_weakness)
    kinds = [
        [entry for entry in ranked if entry.echo_class == name and (entry.echo.channel in carriers) == carrier]
        for name in IN_TURN
        for carrier in (False, True)
    ]
    chosen: list[StoredEcho] = []
    for turn in range(most):
        chosen.extend(kind[turn] for kind in kinds if turn < len(kind))
    chosen.extend(entry for entry in ranked if entry.echo_class not in IN_TURN)
    return tuple(chosen[:most])


def _weakness(entry: StoredEcho) -> float:
    peak = entry.echo.peak_snr_db
    return math.inf if math.isnan(peak) else -peak
