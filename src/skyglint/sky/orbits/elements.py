"""One object's mean orbital elements for SGP4, and how far they can be trusted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Elements:
    """Mean elements of the SGP4 theory (TEME, Brouwer mean motion as the formats state it).

    Attributes
    ----------
    name
        The object's name; its catalogue number where the file names none.
    catalog_number
        Up to nine digits.
    object_id
        International designator such as ``2026-012A``; empty when unknown.
    epoch_unix
        UTC of the elements.
    mean_motion_rev_day, eccentricity, inclination_deg, node_deg, perigee_deg, mean_anomaly_deg, bstar_per_radius
        The elements: revolutions a day, degrees (node: right ascension; perigee: argument), drag term in inverse
        Earth radii.
    """

    name: str
    catalog_number: int
    object_id: str
    epoch_unix: float
    mean_motion_rev_day: float
    eccentricity: float
    inclination_deg: float
    node_deg: float
    perigee_deg: float
    mean_anomaly_deg: float
    bstar_per_radius: float

    def age_days(self, unix: float) -> float:
        """Return how old the elements are at a time; negative before their epoch."""
        return (unix - self.epoch_unix) / 86_400.0

    def matches(self, wanted: str) -> bool:
        """Tell whether a text is part of the name, or is the catalogue number."""
        return wanted.casefold() in self.name.casefold() or wanted == str(self.catalog_number)


@dataclass(frozen=True, slots=True)
class ElementsFile:
    """What a text of elements held.

    Attributes
    ----------
    elements
        The usable sets, in the order of the file.
    rejected
        One line for each unusable set: where, what was found, what was expected.
    """

    elements: tuple[Elements, ...]
    rejected: tuple[str, ...]


def position_error_km(age_days: float) -> float:
    """Return the position error to be expected of a low orbit, mostly along the track.

    About 1 km at the epoch and 1 to 3 km more each day (Vallado, Crawford, Hujsak & Kelso, AIAA 2006-6753, from
    memory); the middle is taken.
    """
    return 1.0 + 2.0 * abs(age_days)


def check_ranges(elements: Elements) -> str:
    """Return what is wrong with elements, or nothing."""
    limits = [
        ("mean motion", elements.mean_motion_rev_day, 0.0, 18.0, "revolutions a day above 0 and up to 18"),
        ("eccentricity", elements.eccentricity, -1e-12, 0.999999, "0 to below 1"),
        ("inclination", elements.inclination_deg, -1e-12, 180.0, "0 to 180 degrees"),
        ("node", elements.node_deg, -360.0, 360.0, "0 to 360 degrees"),
        ("argument of perigee", elements.perigee_deg, -360.0, 360.0, "0 to 360 degrees"),
        ("mean anomaly", elements.mean_anomaly_deg, -360.0, 360.0, "0 to 360 degrees"),
        ("catalogue number", elements.catalog_number, -1, 999_999_999, "0 to 999999999"),
    ]
    wrong = [
        f"{name} = {value:g}: expected {wanted}" for name, value, low, high, wanted in limits if not low < value <= high
    ]
    return "; ".join(wrong)
