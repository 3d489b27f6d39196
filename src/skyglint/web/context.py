"""What every page needs, put together once."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from starlette.requests import Request

from skyglint.site import Channel, Role, Site
from skyglint.station.overhead import Overhead
from skyglint.web.archive import Archive
from skyglint.web.cache import Cache
from skyglint.web.hub import Hub
from skyglint.web.operator import Attempts, Session, Sessions, TokenFile
from skyglint.web.recent import Recent
from skyglint.web.spectra import RecentSpectra

SESSION_COOKIE = "skyglint_operator"
#: A feed that has been silent for longer is no longer believed.
SILENT_S = 10.0
#: Passes are known for so long ahead.
AHEAD_S = 3 * 86_400.0
_ORDER: tuple[Role, ...] = ("target", "reference", "guard")


@dataclass(frozen=True, slots=True)
class Context:
    """One site's pages.

    Attributes
    ----------
    site, folder
        The site, and the folder that relative paths of its file start from.
    archive, hub, recent, spectra
        Where the numbers come from: the database, the live feed, the last minutes of it.
    token, sessions, attempts
        The operator.
    overhead
        The satellites that pass, seen from the place as the pages may show it.
    cache
        Answers that are kept for seconds.
    clock
        POSIX seconds now.
    """

    site: Site
    folder: Path
    archive: Archive
    hub: Hub
    recent: Recent
    spectra: RecentSpectra
    token: TokenFile
    overhead: Overhead
    sessions: Sessions = field(default_factory=Sessions)
    attempts: Attempts = field(default_factory=Attempts)
    cache: Cache = field(default_factory=Cache)
    clock: Callable[[], float] = time.time

    def now(self) -> float:
        """Return the time of the station: of the live feed while it speaks, of the computer otherwise."""
        latest = self.hub.latest
        return latest.end_unix if latest is not None and self.hub.silent_s < SILENT_S else self.clock()

    @property
    def channels(self) -> list[Channel]:
        """The site file's channels: targets first, guards last."""
        return lanes_of(self.site)

    @property
    def place_decimals(self) -> int:
        """Decimals of a degree that the pages may show of the place."""
        return place_decimals(self.site)

    @property
    def shown_place(self) -> tuple[float, float]:
        """Latitude and longitude as the pages may show them."""
        place = shown_site(self.site).site
        return place.latitude_deg, place.longitude_deg


def place_decimals(site: Site) -> int:
    """Return the decimals of a degree that the pages may show of a site's place."""
    return 4 if site.pages.exact_place else 1


def shown_site(site: Site) -> Site:
    """Return the site at the place that the pages may show."""
    decimals = place_decimals(site)
    degrees = {name: round(getattr(site.site, name), decimals) for name in ("latitude_deg", "longitude_deg")}
    return site.model_copy(update={"site": site.site.model_copy(update=degrees)})


def lanes_of(site: Site) -> list[Channel]:
    """Return the channels of a site in the order of their lanes."""
    return sorted(site.channel, key=lambda channel: _ORDER.index(channel.role))


def make_context(site: Site, folder: Path, clock: Callable[[], float] = time.time) -> Context:
    """Return the context of a site whose file lies in a folder."""
    database = folder / site.station.database
    hub = Hub()
    recent = Recent([channel.name for channel in lanes_of(site)])
    spectra = RecentSpectra()
    hub.listen(recent.take)
    hub.listen(spectra.take)
    token = TokenFile(database.with_suffix(".operator.json"))
    overhead = Overhead(shown_site(site), folder, ahead_s=AHEAD_S, step_s=10.0)
    return Context(site, folder, Archive(database, site.site.name), hub, recent, spectra, token, overhead, clock=clock)


def context_of(request: Request) -> Context:
    """Return the context that a request's application was made with."""
    context: Context = request.app.state.context
    return context


def session_of(request: Request) -> Session | None:
    """Return the operator's session that a request carries, if it is open."""
    return context_of(request).sessions.find(request.cookies.get(SESSION_COOKIE))
