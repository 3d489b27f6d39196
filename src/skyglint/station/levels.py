"""Has the level of a channel changed for good? Its floor now against its own last hour."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Sequence

import numpy as np

from skyglint.decibels import power_to_db
from skyglint.station.chain import Heard

#: A floor that stays this far from what it was has changed. Weather, galaxy and temperature move it by less within an
#: hour (common practice).
CHANGED_DB = 3.0
#: How long it has to stay there, what it is compared with, and how much of that must be known.
STAYS_S, HOUR_S, LEAST_KNOWN_S = 300.0, 3600.0, 900.0
#: Time between the levels that are kept.
STEP_S = 10.0


class Levels:
    """Watches the floors of all channels.

    All of them together tell of the receiver, the antenna or the cable; one alone of what is on its frequency. What
    was told is the new level to compare with.
    """

    def __init__(self) -> None:
        self._kept: dict[str, deque[tuple[float, float]]] = defaultdict(deque)
        self._due_unix = float("-inf")

    def hear(self, heard: Heard) -> list[str]:
        """Take in what the chain yielded and return a sentence for each change that has lasted long enough."""
        told = []
        for findings in heard.findings:
            if findings.floor.shape[1] and not self._due_unix - 2 * STEP_S < findings.start_unix < self._due_unix:
                self._due_unix = findings.start_unix + STEP_S
                levels_db = power_to_db(findings.floor[:, -1])
                told += self.add(findings.start_unix, dict(zip(heard.channels, levels_db.tolist(), strict=True)))
        return told

    def add(self, unix: float, levels_db: dict[str, float]) -> list[str]:
        """Take in the level of each channel, dB, and return what has changed in words."""
        for name, level_db in levels_db.items():
            kept = self._kept[name]
            if kept and kept[-1][0] > unix:
                kept.clear()
            kept.append((unix, level_db))
            while kept[0][0] < unix - STAYS_S - HOUR_S:
                kept.popleft()
        moved = {name: self._moved_db(name, unix) for name in levels_db}
        changed = [name for name, (least, _) in moved.items() if abs(least) > CHANGED_DB]
        if not changed:
            return []
        rose = moved[changed[0]][0] > 0
        # The others count with them when they have come half the way: their step may just be a little smaller.
        along = [name for name, (_, middle) in moved.items() if (middle if rose else -middle) > 0.5 * CHANGED_DB]
        for name in along:
            self._forget(name, unix)
        return [_sentence(along, len(levels_db), float(np.median([moved[name][1] for name in along])))]

    def _moved_db(self, name: str, unix: float) -> tuple[float, float]:
        """Return by how much at least, and by how much on the middle, a level has stood off through the last minutes.

        0 where too little is known, or the level has been on both sides.
        """
        times, levels_db = np.array(self._kept[name]).T
        now = times > unix - STAYS_S
        before = times[~now]
        if not len(before) or before[-1] - before[0] < LEAST_KNOWN_S:
            return 0.0, 0.0
        off_db = levels_db[now] - np.median(levels_db[~now])
        low, high = float(off_db.min()), float(off_db.max())
        return (low if low > 0 else high if high < 0 else 0.0), float(np.median(off_db))

    def _forget(self, name: str, unix: float) -> None:
        kept = self._kept[name]
        while kept and kept[0][0] <= unix - STAYS_S:
            kept.popleft()


def _sentence(names: Sequence[str], of: int, by_db: float) -> str:
    verb = "risen" if by_db > 0 else "fallen"
    how = f"{verb} by {abs(by_db):.1f} dB for {STAYS_S / 60:.0f} minutes, against the last hour"
    if of == 1:
        return f"The floor of {names[0]} has {how}: receiver, antenna and cable, or something on its frequency."
    if len(names) == of:
        return f"The floor of all channels has {how}: look at receiver, antenna and cable."
    if len(names) == 1:
        return f"The floor of {names[0]} alone has {how}: something on its frequency."
    return f"The floor of {', '.join(names)} has {how}: something on their frequencies."
