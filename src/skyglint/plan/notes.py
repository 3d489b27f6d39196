"""What a person has to know before climbing, digging or trusting a compass; pages and commands show the same words."""

from __future__ import annotations

from typing import Final

#: The usual cautions for antennas; local codes and licensed practice decide.
SAFETY: Final[tuple[str, ...]] = (
    "Stay away from power lines: put the antenna and its mast where they cannot touch one even if they fall, at least "
    "one and a half times their length away. If one does touch, do not go near; call the operator of the line.",
    "Lightning: earth the mast and fit an arrester where the cable enters the house, as the electrical code of your "
    "country asks; disconnect and stay away from the antenna when thunder can be heard.",
    "Masts and roofs: wind loads and falls kill. Have a mast beyond a person's height, and any work on a roof, planned "
    "and done by someone licensed for it. Most of these antennas work well two metres above the ground.",
    "Ask before you build: planning rules, the owner of the house and, near an airfield, the aviation authority may "
    "limit masts.",
)

#: How to come by a magnetic declination.
DECLINATION: Final = (
    "For a compass bearing subtract the magnetic declination (east positive) from the true azimuth. It changes from "
    "place to place and by up to a degree in a few years: look it up for your coordinates and today's date with the "
    "calculator of a national geological or geophysical survey (they evaluate the World Magnetic Model or the IGRF), "
    "or read it from the margin of a recent topographic map, and give it with --declination. Without a compass: the "
    "Sun's azimuth at a known time, or a landmark's on a map, is better than either."
)

#: What the expected rates are worth.
ACCURACY: Final = (
    "Expected rates are good to a factor of about three: flux, noise and heights are means of large spreads. "
    "Comparisons between transmitters at one site are better, because most of that is common to them."
)

#: A site this far above the assumed smooth ground is likelier on a plain of its own than on a peak above the sea.
_HIGH_GROUND_M: Final = 400.0


def ground_note(site_height_m: float, surface_height_m: float) -> str:
    """Return what to say of a site far above the assumed smooth ground, empty for others."""
    above = site_height_m - surface_height_m
    if above <= _HIGH_GROUND_M:
        return ""
    return (
        f"The site lies {above:.0f} m above the smooth ground that was assumed, {surface_height_m:.0f} m above the "
        "sea: right for a peak, wrong for a high plain, where every station would seem to stand in plain sight. Give "
        "the plain's height with --surface-height-m."
    )
