"""Simulated months in a database, with known truth: sporadics of known course, Perseids, gaps, ducting.

Places and stations are invented. Counts follow the model that is looked for only in what it says of nature: Poisson
counts of a course over solar time, a flux over counted areas, powers of amplitudes and durations.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from skyglint.activity.response import channel_path
from skyglint.activity.shower_study import activity, shower_area_km2
from skyglint.echoes.echo import Echo
from skyglint.signals.block import SourceInfo
from skyglint.site import parse_site
from skyglint.sky.showers import load_showers
from skyglint.sky.sun import local_apparent_solar_hour, solar_longitude_deg
from skyglint.store import Store, Verdict
from skyglint.store.records import CoverageSpan
from skyglint.utc import parse_utc

HOUR_OF_MAXIMUM, AMPLITUDE, MASS_INDEX = 6.2, 0.5, 2.0
#: ZHR 100 at r = 2.2, per km2 and hour to magnitude 6.5 (Koschack & Rendtel 1990).
PERSEID_FLUX = 0.02651
LIMIT_DB = -9.0

HEAD = """
[site]
name = "Harrow Fell"
latitude_deg = 54.6137
longitude_deg = -2.9312
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
"""
TARGETS = [
    ("north-sea", 58.72, 6.05),
    ("far-fjord", 60.21, 9.4),
    ("salt-island", 63.4, -18.1),
    ("windmill", 52.9, 5.9),
    ("delta", 51.3, 11.8),
    ("three-oaks", 47.9, 3.1),
    ("lowland", 55.9, 9.2),
    ("cape", 46.2, -5.9),
    ("hollow", 49.1, 8.7),
    ("lighthouse", 57.4, 12.1),
]


def site_text(targets: int, guards: int) -> str:
    """Return a site file with that many channels; the second target has no known place where there are three."""
    parts = [HEAD]
    for index, (name, latitude, longitude) in enumerate(TARGETS[:targets]):
        place = f"latitude_deg = {latitude}\nlongitude_deg = {longitude}\npower_w = 60_000\nheight_m = 700\n"
        kind = "carrier" if targets > 3 and index == targets - 1 else "fm"
        if targets > 2 and index == 1:
            place = ""
        parts.append(
            f'[[channel]]\nname = "{name}"\nrole = "target"\nkind = "{kind}"\n'
            f"frequency_hz = {97_100_000 + 200_000 * index}\n{place}"
        )
    for index in range(guards):
        frequency = 96_900_000 - 200_000 * index
        parts.append(f'[[channel]]\nname = "quiet-{index}"\nrole = "guard"\nkind = "fm"\nfrequency_hz = {frequency}\n')
    return "\n".join(parts)


class MonthMaker:
    """One site's months."""

    def __init__(self, targets: int = 10, guards: int = 2, per_hour: float = 12.0, seed: int = 7) -> None:
        self.random = np.random.default_rng(seed)
        self.text = site_text(targets, guards)
        self.site = parse_site(self.text)
        self.per_hour = per_hour
        self.shared: list[Echo] = []
        self.perseids = next(shower for shower in load_showers() if shower.iau_code == "PER")

    def write(self, path: Path, first: str, days: int) -> None:
        """Write the days from a date on into a database, making it where it is missing."""
        start = parse_utc(f"{first}T12:00:00Z")
        end = start + 86_400.0 * days
        info = SourceInfo("live", first, "cu8", 2.4e6, 98e6, start, end, 96.4e6, 99.6e6)
        with Store.open(path, "write" if path.exists() else "create") as store:
            settings = {"false_alarms_per_channel_hour": 1.0}
            run = store.begin_run(self.site.site.name, self.text, "watch", settings, end)
            with store.recording(run, info, self.site.channel) as writer:
                for channel in self.site.channel:
                    lost = self.lost(channel.name, channel.kind == "fm", start, days)
                    writer.add_coverage(spans(channel.name, lost, start, end))
                    times = np.arange(start, end, 600.0)
                    floor = -58.0 + 1.5 * np.sin(times / 400_000) + self.random.normal(0, 0.1, len(times))
                    writer.add_floor(channel.name, start, 600.0, floor)
                    own = list(self.echoes(channel, lost, start, days))
                    own += self.seen_twice(channel, own, lost)
                    writer.add_echoes(sorted(own, key=lambda echo: echo.start_unix))
            judged = store.echoes(start, start + 86_400.0)[::40][:20]
            for index, stored in enumerate(judged):
                word = "aircraft" if index % 5 == 0 else stored.echo.echo_class
                store.give_verdict(stored.id, Verdict(word, "observer", "", end))

    def lost(self, name: str, wide: bool, start: float, days: int) -> list[tuple[float, float, str]]:
        """Return gaps: a restart a day, a longer outage, and evenings of ducting on the wide channels."""
        gaps = [(start + 86_400.0 * day + 4000.0, start + 86_400.0 * day + 4120.0, "restart") for day in range(days)]
        gaps.append((start + 86_400.0 * 5.3, start + 86_400.0 * 5.3 + 39_000.0, "receiver lost"))
        if wide:
            evenings = [start + 86_400.0 * day + 19_000.0 for day in range(8, min(days, 11))]
            gaps += [(evening, evening + 14_400.0, "ducting") for evening in evenings]
        return sorted(gap for gap in gaps if gap[1] < start + 86_400.0 * days)

    def echoes(self, channel, lost, start: float, days: int):
        """Yield a channel's echoes; a guard has a few bursts that are no meteors."""
        random = self.random
        starts = start + 3600.0 * np.arange(24 * days)
        middle = starts + 1800.0
        hour, longitude = local_apparent_solar_hour(middle, self.site.site.longitude_deg), solar_longitude_deg(middle)
        offset = 40.0 if channel.kind == "carrier" else 0.0
        if channel.role != "target":
            for when in start + 86_400.0 * days * random.random(3 * days):
                yield Echo(channel.name, float(when), 0.1, float(when), 8.0, 0.1, "interference", 0.9)
            return
        sensitivity = random.uniform(0.6, 1.3)
        sporadic = self.per_hour * sensitivity * (1 + AMPLITUDE * np.cos(2 * np.pi * (hour - HOUR_OF_MAXIMUM) / 24))
        shower = np.zeros(len(starts))
        if channel.latitude_deg is not None:
            profile = activity(self.perseids, longitude)
            shower[profile > 0] = (
                shower_area_km2(channel_path(self.site, channel), self.perseids, middle, LIMIT_DB + offset) * profile
            )[profile > 0]
        for rate, slope in ((sporadic, MASS_INDEX - 1.0), (PERSEID_FLUX * shower, self.perseids.mass_index - 1.0)):
            count = random.poisson(rate)
            when = np.repeat(starts, count) + 3600.0 * random.random(count.sum())
            for gap in lost:
                when = when[(when < gap[0]) | (when >= gap[1])]
            yield from self.population(channel, when, slope, offset)

    def seen_twice(self, channel, own, lost):
        """Return one echo in fifty of the channel written before this one: a meteor that shows in both."""
        shared, self.shared = self.shared, own[::50]
        moved = [replace(echo, channel=channel.name, start_unix=echo.start_unix + 0.05) for echo in shared]
        kept = [echo for echo in moved if not any(a <= echo.start_unix < b for a, b, _ in lost)]
        return kept if channel.role == "target" and channel.kind == "fm" else []

    def population(self, channel, when, slope: float, offset: float):
        random, n = self.random, len(when)
        peak = LIMIT_DB + offset - 20.0 / slope * np.log10(random.random(n))
        kind = random.choice(["underdense", "overdense", "unknown", "head"], n, p=[0.75, 0.1, 0.14, 0.01])
        height = random.normal(95.0, 4.0, n)
        decay = 0.06 * np.exp((95.0 - height) / 6.0)
        long_s = 0.6 * random.random(n) ** (-1.0 / slope)
        duration = np.where(kind == "overdense", np.minimum(long_s, 40.0), 2.0 * decay)
        doppler = random.normal(3.0, 2.0, n)
        heard = random.random(n) < 0.03
        for i in range(n):
            fine = kind[i] == "underdense"
            yield Echo(
                channel.name,
                float(when[i]),
                float(duration[i]),
                float(when[i]) + 0.02,
                float(peak[i]),
                float(duration[i]),
                str(kind[i]),
                0.9,
                decay_time_s=float(decay[i]) if fine else math.nan,
                decay_time_sd_s=0.005 if fine else math.nan,
                doppler_hz=float(doppler[i]) if channel.kind == "carrier" else math.nan,
                doppler_sd_hz=1.0 if channel.kind == "carrier" else math.nan,
                height_km=float(height[i]) if fine else math.nan,
                height_sd_km=3.0 if fine else math.nan,
                rds_pi="F3A7" if heard[i] and channel.kind == "fm" else "",
            )


def spans(channel: str, lost, start: float, end: float) -> list[CoverageSpan]:
    """Return watched and lost spans in turn."""
    found, at = [], start
    for a, b, reason in lost:
        found += [CoverageSpan(channel, at, a, "watched"), CoverageSpan(channel, a, b, "lost", reason)]
        at = b
    return [*found, CoverageSpan(channel, at, end, "watched")]
