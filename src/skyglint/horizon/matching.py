"""Which transmitter each level belongs to, and one level for each transmitter."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.horizon.levels import Level
from skyglint.horizon.likelihood import Measured
from skyglint.horizon.links import Links, links_of
from skyglint.horizon.models import free_levels_dbm, plane_levels_dbm, round_levels
from skyglint.path.constants import EFFECTIVE_RADIUS_M
from skyglint.site import Site
from skyglint.transmitters.transmitter import Transmitter

#: A level belongs to a transmitter on its frequency: receivers' dials and lists agree within this.
SAME_FREQUENCY_HZ: Final = 25_000.0
#: Farther transmitters are out of every direct signal's reach, over a plane too in the crowd of nearer ones.
FARTHEST_KM: Final = 800.0
#: One of several candidates is taken when it is this much stronger under both models.
DOMINANT_DB: Final = 15.0
#: Transmitters whose coordinates agree to this many decimals of a degree (about a hundred metres) stand on one mast.
SAME_MAST_DECIMALS: Final = 3
#: Further error of a prediction for a transmitter whose height the list does not state (common practice).
UNKNOWN_HEIGHT_SD_DB: Final = 6.0


@dataclass(frozen=True, slots=True)
class Survey:
    """Levels with the links that they belong to, one a mast.

    Attributes
    ----------
    transmitters, links, measured
        In one order, shape (n,).
    rows
        How many rows of the file stand behind each.
    left_out
        Rows that could not be used, by reason.
    """

    transmitters: tuple[Transmitter, ...]
    links: Links
    measured: Measured
    rows: NDArray[np.intp]
    left_out: Counter[str]


def match_levels(
    site: Site, levels: Sequence[Level], transmitters: Sequence[Transmitter], surface_height_m: float
) -> Survey:
    """Join levels to the transmitters of a list.

    A named level belongs to the transmitter of that name on its frequency. One without a name belongs to the only
    candidate on its frequency, or to one that both models expect to be far stronger than the others; else it is left
    out. Several levels of one transmitter become their median, so that it counts once: its errors of power and terrain
    are the same every time. So does a mast with several programmes, by the middle one of them.
    """
    candidates = Candidates.of(site, transmitters, surface_height_m)
    left_out: Counter[str] = Counter()
    found: dict[int, list[Level]] = defaultdict(list)
    for level in levels:
        place, reason = candidates.find(level.frequency_hz, level.transmitter)
        if place is None:
            left_out[reason] += 1
        else:
            found[place].append(level)
    levels_by_place = {place: median_level(rows) for place, rows in found.items()}
    places = one_a_mast(candidates, levels_by_place)
    if others := sum(len(rows) for place, rows in found.items() if place not in places):
        left_out["another programme of the same mast stands for it"] += others
    links = candidates.links.part(np.array(places, dtype=np.intp))
    together = [levels_by_place[place] for place in places]
    height_sd = np.where(links.height_known, 0.0, UNKNOWN_HEIGHT_SD_DB)
    measured = Measured(
        np.array([one.level_dbm for one in together]),
        np.hypot(np.array([one.sd_db for one in together]), height_sd),
        np.array([one.is_limit for one in together], dtype=np.bool_),
    )
    rows = np.array([len(found[place]) for place in places], dtype=np.intp)
    return Survey(tuple(candidates.transmitters[place] for place in places), links, measured, rows, left_out)


def one_a_mast(candidates: Candidates, levels: Mapping[int, Level]) -> list[int]:
    """Return for each mast the place of the transmitter whose level, over that of free space, is the middle one."""
    free = free_levels_dbm(candidates.links)
    masts: dict[tuple[float, float], list[tuple[float, int]]] = defaultdict(list)
    for place, level in levels.items():
        one = candidates.transmitters[place]
        mast = round(one.latitude_deg, SAME_MAST_DECIMALS), round(one.longitude_deg, SAME_MAST_DECIMALS)
        masts[mast].append((level.level_dbm - float(free[place]), place))
    return sorted(sorted(members)[(len(members) - 1) // 2][1] for members in masts.values())


def median_level(levels: Sequence[Level]) -> Level:
    """Return the median of several levels of one transmitter; an upper limit where most of them are limits."""
    middle = float(np.median([one.level_dbm for one in levels]))
    limits = sum(one.is_limit for one in levels)
    sd_db = float(np.median([one.sd_db for one in levels]))
    return replace(levels[0], level_dbm=middle, sd_db=sd_db, is_limit=2 * limits > len(levels))


@dataclass(frozen=True, slots=True)
class Candidates:
    """Transmitters near enough to matter, with what either model expects of them, dBm."""

    transmitters: tuple[Transmitter, ...]
    links: Links
    frequency_hz: NDArray[np.float64]
    round_dbm: NDArray[np.float64]
    plane_dbm: NDArray[np.float64]

    @classmethod
    def of(cls, site: Site, transmitters: Sequence[Transmitter], surface_height_m: float) -> Candidates:
        """Return the transmitters on the air within reach of a site."""
        licensed = [one for one in transmitters if one.status == "licensed"]
        links = links_of(site, licensed, surface_height_m)
        near = np.flatnonzero(links.distance_m <= 1e3 * FARTHEST_KM)
        links = links.part(near)
        expected = round_levels(links, [EFFECTIVE_RADIUS_M]).total_dbm()[:, 0]
        kept = tuple(licensed[place] for place in near)
        return cls(kept, links, links.frequency_hz, expected, plane_levels_dbm(links))

    def find(self, frequency_hz: float, name: str = "") -> tuple[int | None, str]:
        """Return the place of the transmitter that a level belongs to, or ``None`` and why there is none."""
        same = np.flatnonzero(np.abs(self.frequency_hz - frequency_hz) <= SAME_FREQUENCY_HZ)
        if name:
            named = [int(k) for k in same if self.transmitters[k].name.casefold() == name.casefold()]
            if not named:
                return None, f"no transmitter of that name on that frequency within {FARTHEST_KM:.0f} km in the list"
            return max(named, key=lambda k: float(self.plane_dbm[k])), ""
        if not len(same):
            return None, f"no transmitter on that frequency within {FARTHEST_KM:.0f} km in the list"
        return self.strongest(same)

    def strongest(self, places: NDArray[np.intp]) -> tuple[int | None, str]:
        """Return the one of several that both models expect to be far stronger than the rest."""
        by_round, by_plane = (places[np.argsort(-table[places])] for table in (self.round_dbm, self.plane_dbm))
        best = int(by_round[0])
        if len(places) == 1:
            return best, ""
        clear = all(
            table[order[0]] - table[order[1]] >= DOMINANT_DB
            for table, order in ((self.round_dbm, by_round), (self.plane_dbm, by_plane))
        )
        if best != int(by_plane[0]) or not clear:
            return None, "several candidates on that frequency, and no name"
        return best, ""
