"""Following a pass as it happens: which comes next, waiting for it, and the receiver read from its rise to its end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from skyglint.errors import RequestError
from skyglint.plan.satellite_passes import site_place, transmitter_place
from skyglint.signals.block import Source
from skyglint.site import Channel, Site
from skyglint.sky.orbits.elements import Elements
from skyglint.sky.satellites import Place, satellite
from skyglint.station.follow import SHORTEST_SPAN_S, Following, follow, stays_in_sight
from skyglint.station.follow_power import follow_power

#: How far ahead the next pass is looked for.
AHEAD_S = 86_400.0
#: The receiver is opened so long before it is needed.
_READY_S = 5.0
#: An FM channel is listened to for so many lengths of the pass on either side of it, to know its power without it.
_BESIDE = 1.5


@dataclass(frozen=True, slots=True)
class NextPass:
    """The pass to follow: of what, and from when to when all ends see it."""

    elements: Elements
    start_unix: float
    end_unix: float


def next_pass(site: Site, elements: Sequence[Elements], transmitter: Place | None, now_unix: float) -> NextPass:
    """Return the pass that comes first, or is on and has long enough to go.

    Raises
    ------
    RequestError
        If none comes within a day.
    """
    found = [
        NextPass(one, start, end)
        for one in elements
        for start, end in stays_in_sight(satellite(one), site_place(site), transmitter, now_unix, now_unix + AHEAD_S)
        if end - start >= 2 * SHORTEST_SPAN_S
    ]
    if not found:
        names = ", ".join(one.name for one in elements[:5])
        who = "the site" if transmitter is None else "site and transmitter together"
        raise RequestError(f"{names}: not in sight of {who} within {AHEAD_S / 3600:.0f} h")
    return min(found, key=lambda one: one.start_unix)


def follow_next(
    open_source: Callable[[], Source],
    site: Site,
    coming: NextPass,
    beacon_hz: float,
    channel: Channel | None,
    clock: Callable[[], float],
    sleep: Callable[[float], None],
    told: Callable[[float], None] = lambda unix: None,
) -> Following:
    """Wait for a pass, read the receiver through it, and return the verdict.

    Memory holds the powers around the curve, or a number a second for an FM channel, and never the samples.

    Parameters
    ----------
    beacon_hz, channel
        The satellite's own signal, or the channel whose reflection is looked for.
    clock, sleep
        POSIX seconds now, and how to wait.
    told
        Is told how far the reading has come.
    """
    start_unix, end_unix = coming.start_unix, coming.end_unix
    power_only = channel is not None and channel.kind == "fm"
    if power_only:
        start_unix -= _BESIDE * (end_unix - start_unix)
        end_unix += _BESIDE * (coming.end_unix - coming.start_unix)
        start_unix = max(start_unix, clock())
    while (left_s := start_unix - _READY_S - clock()) > 0:
        sleep(min(left_s, 60.0))
    source = open_source()
    if channel is not None and power_only:
        return follow_power(source, site, coming.elements, channel, span=(start_unix, end_unix), told=told)
    # What is gone before the receiver speaks is gone.
    span = (max(start_unix, clock()), end_unix)
    if channel is None:
        return follow(source, site, coming.elements, beacon_hz, span=span, told=told)
    place = transmitter_place(channel)
    return follow(source, site, coming.elements, channel.frequency_hz, place, span=span, told=told)
