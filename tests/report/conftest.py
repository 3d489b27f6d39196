"""Made-up nights for the page: invented places, stations and echoes, every number drawn from a seeded generator."""

import dataclasses
import importlib.util
import math
import sys
from collections.abc import Callable, Sequence
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from skyglint.activity.rates import Rate
from skyglint.echoes.echo import Echo, Snippet
from skyglint.report.night import Lane, NightPage
from skyglint.report.study import study_night
from skyglint.report.together import Together
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import Store
from skyglint.store.records import CoverageSpan, FloorHistory, Recording, Run, StoredEcho

NAN = float("nan")
EVENING_UNIX = 1786572600.0  # 2026-08-12T22:10:00Z
COLUMNS = 1200
FLAT = 0.682689492


def rate_row(channel: str, role: str, start: float, end: float, echoes: int, coverage_s: float) -> Rate:
    busy_s = 0.4 * echoes
    hours = (coverage_s - busy_s) / 3600.0
    low = chi2.ppf((1 - FLAT) / 2, 2 * echoes) / 2 if echoes else 0.0
    high = chi2.ppf((1 + FLAT) / 2, 2 * echoes + 2) / 2
    found = (echoes / hours, low / hours, high / hours) if hours > 0.0 else (NAN, NAN, NAN)
    return Rate(channel, role, start, end, echoes, coverage_s, busy_s, *found, 139.8, (start / 3600.0 - 0.2) % 24)


def overlap_s(first: tuple[float, float], second: tuple[float, float]) -> float:
    return max(0.0, min(first[1], second[1]) - max(first[0], second[0]))


class NightMaker:
    """Builds one night's page record from a few wishes."""

    def __init__(self, channels: Sequence[Channel], length_s: float, holes: Sequence[tuple[float, float, str]]) -> None:
        self.random = np.random.default_rng(20260812)
        self.channels = channels
        self.start, self.end = EVENING_UNIX, EVENING_UNIX + length_s
        self.holes = [(self.start + a, self.start + b, reason) for a, b, reason in holes]
        self.echoes: list[Echo] = []

    def watched(self, unix: float) -> bool:
        return not any(a <= unix < b for a, b, _ in self.holes)

    def add_echoes(self, count: int) -> None:
        random = self.random
        weight = np.array([{"target": 1.0, "guard": 0.02, "reference": 0.02}[c.role] for c in self.channels])
        weight *= np.linspace(1.6, 0.5, len(weight))
        for _ in range(count):
            start = self.start + (self.end - self.start - 12.0) * np.sqrt(random.uniform(0.02, 1.0))
            if not self.watched(start):
                continue
            channel = self.channels[random.choice(len(weight), p=weight / weight.sum())]
            self.echoes.append(self.one_echo(channel, start))

    def one_echo(self, channel: Channel, start: float) -> Echo:
        random = self.random
        kinds = ["underdense", "overdense", "head", "unknown", "aircraft", "lightning", "satellite", "sporadic-e"]
        kind = str(random.choice(kinds, p=[0.62, 0.12, 0.03, 0.14, 0.03, 0.03, 0.02, 0.01]))
        if channel.role != "target":
            kind = "interference"
        peak = float(6.0 + random.exponential(5.0)) + (40.0 if channel.kind == "carrier" else 0.0)
        duration = float(random.uniform(1.0, 9.0) if kind in ("overdense", "aircraft") else random.uniform(0.08, 0.9))
        fine = kind == "underdense"
        return Echo(
            channel=channel.name,
            start_unix=start,
            duration_s=duration,
            peak_unix=start + 0.05,
            peak_snr_db=peak,
            energy_snr_s=duration * 10 ** (peak / 10) / 4,
            echo_class=kind,
            class_probability=float(random.uniform(0.6, 0.99)),
            reason=f"{kind}: rises in 30 ms, falls by {peak / 2:.1f} dB in {duration:.2f} s; seen in one channel only.",
            decay_time_s=float(random.uniform(0.04, 0.3)) if fine else NAN,
            decay_time_sd_s=float(random.uniform(0.004, 0.02)) if fine else NAN,
            doppler_hz=float(random.normal(0, 60)) if fine and random.uniform() < 0.4 else NAN,
            doppler_sd_hz=float(random.uniform(5, 30)),
            height_km=float(random.normal(96, 4)) if fine else NAN,
            height_sd_km=float(random.uniform(2, 6)) if fine else NAN,
            rds_pi=channel.rds_pi or "" if random.uniform() < 0.1 else "",
            flags=("merged",) if random.uniform() < 0.05 else (),
        )

    def snippet(self, echo: Echo, rows: int = 60) -> Snippet:
        random = self.random
        step = 0.01
        before = 0.4
        n = int((before + echo.duration_s * 1.5 + 0.5) / step)
        t = np.arange(n) * step - before
        power = 10 ** (min(echo.peak_snr_db, 35.0) / 10)
        shape = np.where(t < 0, 0.0, np.exp(-np.maximum(t, 0) / (0.4 * echo.duration_s + 0.02)))
        if echo.echo_class == "overdense":
            shape = np.where(t < 0, 0.0, np.clip(1.2 - t / echo.duration_s, 0, 1) * (0.6 + 0.4 * np.cos(4 * t) ** 2))
        offsets = np.linspace(-98_000, 98_000, rows)
        spectrum = np.exp(-((offsets / 45_000) ** 2) / 2)
        wander = 30_000 * np.sin(2 * np.pi * 3.1 * t)[:, None]
        comb = 0.4 + 1.2 * np.exp(-(((offsets[None, :] - wander) / 20_000) ** 2))
        noise = random.gamma(20, 1 / 20, size=(n, rows))
        spec = noise * (1 + power * 2 * shape[:, None] * spectrum[None, :] * comb)
        level = (1 + power * shape) * random.gamma(400, 1 / 400, size=n)
        return Snippet(
            echo.start_unix - before,
            step,
            (10 * np.log10(level)).astype(np.float32),
            offsets,
            (10 * np.log10(spec)).astype(np.float32),
        )

    def strip(self, channel: Channel) -> np.ndarray:
        noise = np.abs(self.random.normal(0.9, 0.35, COLUMNS))
        width = (self.end - self.start) / COLUMNS
        for echo in (e for e in self.echoes if e.channel == channel.name):
            column = int((echo.start_unix - self.start) / width)
            level = echo.peak_snr_db - (40.0 if channel.kind == "carrier" else 0.0)
            for index in range(column, min(COLUMNS, column + 1 + int(echo.duration_s / width))):
                noise[index] = max(noise[index], level - 4.0 * (index - column) * width)
        times = self.start + width * (np.arange(COLUMNS) + 0.5)
        dark = np.array([not self.watched(float(t)) for t in times])
        return np.where(dark, np.nan, noise).astype(np.float32)

    def rows(self, channel: str | None) -> tuple[Rate, ...]:
        """Rates by the hour of UTC: of one channel, or of all targets where none is named."""
        found = []
        first = 3600.0 * np.floor(self.start / 3600.0)
        for hour in np.arange(first, self.end, 3600.0):
            found.append(self.row(channel or "", float(hour), float(hour) + 3600.0))
        return tuple(found)

    def row(self, channel: str, start: float, end: float) -> Rate:
        names = {c.name for c in self.channels if c.role == "target"} if not channel else {channel}
        inside = overlap_s((start, end), (self.start, self.end))
        dark = sum(overlap_s((max(start, self.start), min(end, self.end)), (a, b)) for a, b, _ in self.holes)
        meteors = {"underdense", "overdense", "head", "unknown"}
        number = sum(
            e.channel in names and e.echo_class in meteors and start <= e.start_unix < end for e in self.echoes
        )
        role = next((c.role for c in self.channels if c.name == channel), "target")
        return rate_row(channel, role, start, end, number, inside - dark)

    def together(self, channel: str, start: float, end: float) -> Together:
        row = self.row(channel, start, end)
        return Together(
            math.floor(row.local_solar_hour),
            row.echoes,
            max(row.coverage_s - row.busy_s, 0.0),
            row.rate_per_h,
            row.rate_low_per_h,
            row.rate_high_per_h,
        )

    def page(self, site_name: str = "Harrow Fell") -> NightPage:
        self.echoes.sort(key=lambda echo: echo.start_unix)
        stored = tuple(StoredEcho(index + 1, 1, echo) for index, echo in enumerate(self.echoes))
        lanes = tuple(self.lane(channel) for channel in self.channels)
        solar_hours = tuple(self.together("", row.start_unix, row.end_unix) for row in self.rows(None))
        coverage = [entry for channel in self.channels for entry in self.coverage(channel.name)]
        span = (self.start, self.end)
        best = tuple(sorted((e for e in stored if e.meteoric), key=lambda e: -e.echo.peak_snr_db)[:8])
        pictures = {entry.id: self.snippet(entry.echo) for entry in best}
        sparks = {e.id: self.snippet(e.echo, 4).power_db[::4][:60] for e in stored[:40]}
        return NightPage(
            site_name=site_name,
            latitude_deg=54.6,
            longitude_deg=-2.9,
            date=date(2026, 8, 12),
            start_unix=self.start,
            end_unix=self.end,
            lanes=lanes,
            echoes=stored,
            best=best,
            pictures=pictures,
            sparks=sparks,
            all_targets=self.together("", self.start, self.end),
            solar_hours=solar_hours,
            study=study_night(SITE, self.channels, coverage, solar_hours, stored, span),
            confidence=FLAT,
            runs=(Run(1, site_name, "", "0.1.0", "scan", {"false_alarms_per_h": 1.0, "frame_s": 0.01}, self.end + 60),),
            recordings=(Recording(1, 1, "night.sigmf-data", "ab12", "cu8", 2.4e6, 98e6, self.start, self.end, 1, 0.0),),
            version="0.1.0",
        )

    def floor(self, channel: str) -> FloorHistory:
        times = np.arange(self.start, self.end, max(1.0, (self.end - self.start) / 400))
        level = -58.0 + 0.12 * np.sin(times / 4000) + self.random.normal(0, 0.05, len(times))
        level = np.where([not self.watched(float(t)) for t in times], np.nan, level)
        return FloorHistory(channel, times, level.astype(np.float32))

    def coverage(self, channel: str) -> list[CoverageSpan]:
        edges = sorted({self.start, self.end, *(edge for hole in self.holes for edge in hole[:2])})
        reasons = {a: reason for a, _, reason in self.holes}
        return [
            CoverageSpan(channel, a, b, "lost" if a in reasons else "watched", reasons.get(a, ""))
            for a, b in pairwise(edges)
        ]

    def lane(self, channel: Channel) -> Lane:
        known = channel.latitude_deg is not None
        night = self.row(channel.name, self.start, self.end)
        return Lane(
            channel=channel,
            distance_km=float(self.random.uniform(380, 1250)) if known else NAN,
            bearing_deg=float(self.random.uniform(0, 360)) if known else NAN,
            power_db=self.strip(channel),
            watched_s=night.coverage_s,
            lost=tuple(CoverageSpan(channel.name, a, b, "lost", reason) for a, b, reason in self.holes),
            floor=self.floor(channel.name),
            bursts=sum(echo.channel == channel.name for echo in self.echoes),
            night=night,
            hours=self.rows(channel.name),
        )


def invented_channels(count: int, carriers: int = 0) -> list[Channel]:
    """Targets first, guards last, one reference among more than four."""
    names = [
        "north-sea",
        "coast-east",
        "back",
        "far-fjord",
        "lowland",
        "salt-island",
        "three-oaks",
        "windmill",
        "delta",
    ]
    channels = []
    guards = max(1, count // 6)
    references = 1 if count > 3 else 0
    for index in range(count - guards - references):
        place = {"latitude_deg": 58.72, "longitude_deg": 6.05} if index % 4 != 3 else {}
        kind = "carrier" if index >= count - guards - references - carriers else "fm"
        tone = {"kind": kind, "frequency_hz": 98.3e6 + 400e3 * index}
        channels.append(Channel(name=names[index], role="target", **tone, **place))
    for _ in range(references):
        channels.append(Channel(name="town", role="reference", kind="fm", frequency_hz=97.5e6))
    for index in range(guards):
        name = f"quiet-{index + 1}" if guards > 1 else "quiet"
        channels.append(Channel(name=name, role="guard", kind="fm", frequency_hz=96.7e6 + 200e3 * index))
    return channels


def full_night() -> NightPage:
    maker = NightMaker(invented_channels(12, carriers=1), 6.2 * 3600, [(9000.0, 9047.0, "receiver lost samples")])
    maker.add_echoes(600)
    return maker.page()


def short_watch() -> NightPage:
    maker = NightMaker(invented_channels(4), 180.0, [(61.0, 63.0, "receiver lost samples")])
    maker.add_echoes(14)
    return maker.page()


def empty_night() -> NightPage:
    return NightMaker(invented_channels(3), 5.7 * 3600, []).page()


def long_names() -> NightPage:
    """Names as long as a site file allows, without a place to break them."""
    channels = [
        channel.model_copy(update={"name": f"{index}-{'m' * 78}"}) for index, channel in enumerate(invented_channels(4))
    ]
    maker = NightMaker(channels, 1800.0, [(400.0, 460.0, "x" * 120)])
    maker.add_echoes(30)
    return maker.page("W" * 80)


def outage_maker() -> NightMaker:
    holes = [(5000.0, 16400.0, "receiver lost"), (17000.0, 17300.0, "recording ends before its stated length")]
    maker = NightMaker(invented_channels(5), 5.7 * 3600, holes)
    maker.add_echoes(120)
    return maker


def outage_night() -> NightPage:
    return outage_maker().page()


NIGHTS: dict[str, Callable[[], NightPage]] = {
    "full": full_night,
    "short": short_watch,
    "empty": empty_night,
    "outage": outage_night,
    "long": long_names,
}


@pytest.fixture(scope="session")
def nights() -> dict[str, NightPage]:
    """The four made-up nights by name."""
    return {name: make() for name, make in NIGHTS.items()}


SITE = """
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

[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
"""


def write_night(path: Path, maker: NightMaker, pictures: int = 12, site_name: str = "Harrow Fell") -> None:
    """Write a made-up night into a database, as a scan of one recording would."""
    info = SourceInfo("night.sigmf-meta", "ab12", "cu8", 2.4e6, 98e6, maker.start, maker.end, 96.8e6, 99.2e6)
    echoes = sorted(maker.echoes, key=lambda echo: echo.start_unix)
    with Store.open(path, "create") as store:
        run = store.begin_run(site_name, SITE, "scan", {"false_alarms_per_channel_hour": 1.0}, maker.end + 60.0)
        with store.recording(run, info, maker.channels) as writer:
            for index, echo in enumerate(echoes):
                picture = maker.snippet(echo) if index < pictures else None
                writer.add_echoes([dataclasses.replace(echo, snippet=picture)])
            for channel in maker.channels:
                writer.add_coverage(maker.coverage(channel.name))
                strip = maker.strip(channel)
                writer.add_strip(channel.name, maker.start, (maker.end - maker.start) / len(strip), strip)
                floor = maker.floor(channel.name)
                writer.add_floor(channel.name, maker.start, float(np.diff(floor.time_unix)[0]), floor.floor_db)
            writer.set_samples(int(2.4e6 * (maker.end - maker.start)), 0.0)


@pytest.fixture(scope="session")
def two_sites_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that holds two sites."""
    path = tmp_path_factory.mktemp("sites") / "sites.db"
    for name in ("Harrow Fell", "Low Moor"):
        write_night(path, NightMaker(invented_channels(2), 600.0, []), site_name=name)
    return path


@pytest.fixture(scope="session")
def outage_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the night of the big outage."""
    path = tmp_path_factory.mktemp("night") / "outage.db"
    write_night(path, outage_maker())
    return path


def simulated_months():
    """Return the simulator of months: the tests of a room are no package."""
    name = "simulated_months"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def month_store(tmp_path_factory) -> Path:
    """A simulated fortnight in August with its Perseids: three targets, one of unknown place, and a guard."""
    path = tmp_path_factory.mktemp("month") / "month.db"
    simulated_months().MonthMaker(targets=3, guards=1, per_hour=8.0).write(path, "2026-08-04", 14)
    return path


@pytest.fixture(scope="session")
def month_page(month_store):
    """The record of that month."""
    from skyglint.report.season_gather import gather_season

    with Store.open(month_store) as store:
        return gather_season(store, "2026-08")
