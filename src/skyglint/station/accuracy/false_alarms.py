"""What is reported although nothing fell: on noise, and in an hour full of nuisances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from skyglint.echoes.echo import METEORIC, Echo
from skyglint.echoes.settings import DetectionSettings
from skyglint.station.accuracy.scenes import Event, carrier_lines_night, carrier_night, fm_night, hear


@dataclass(frozen=True, slots=True)
class FalseAlarms:
    """Echoes where there are none.

    Attributes
    ----------
    channel_hours
        Time listened to, summed over the channels.
    echoes, meteoric
        Echoes reported, and those of them that would count as meteors.
    per_channel_hour, meteoric_per_channel_hour
        The same as rates.
    """

    channel_hours: float
    echoes: int
    meteoric: int

    @property
    def per_channel_hour(self) -> float:
        """Echoes in an hour of one channel."""
        return self.echoes / self.channel_hours

    @property
    def meteoric_per_channel_hour(self) -> float:
        """Meteoric ones in an hour of one channel."""
        return self.meteoric / self.channel_hours


def _count(echoes: list[Echo], channel_hours: float) -> FalseAlarms:
    return FalseAlarms(channel_hours, len(echoes), sum(echo.echo_class in METEORIC for echo in echoes))


def noise_false_alarms(
    hours: float, seed: int, gain_wander_db: float = 0.0, gain_wander_s: float = 120.0
) -> FalseAlarms:
    """Listen to nothing but noise in five FM channels for some hours.

    The receiver's gain may wander, all channels alike, by a standard deviation in decibels that is forgotten within
    ``gain_wander_s``.
    """
    night = fm_night({}, hours * 3600.0, seed, gain_wander_db=gain_wander_db, gain_wander_s=gain_wander_s)
    block_s = 0.5 if gain_wander_db else 10.0
    return _count(hear(night, block_s=block_s), hours * len(night.channels))


def carrier_false_alarms(hours: float, seed: int, accepted_per_hour: float = 1.0) -> FalseAlarms:
    """Listen to nothing but noise in one carrier channel for some hours."""
    settings = DetectionSettings(false_alarms_per_channel_hour=accepted_per_hour)
    return _count(hear(carrier_night({}, hours * 3600.0, seed), settings), hours)


def line_false_alarms(hours: float, seed: int) -> FalseAlarms:
    """Listen to a carrier channel of noise and lines: a direct carrier with hum, two birdies, and a line that drifts.

    The direct carrier stands 38 dB over 1 Hz, its sidebands at multiples of 50 Hz 13 to 20 dB below; the birdies have
    25 and 45 dB. Each hour another line of 35 dB comes slowly and drifts by 150 Hz, at 0.2 Hz/s and less.
    """
    hum = [
        {"name": f"hum {hz:+d}", "offset_hz": hz + 2.5, "direct_snr_db": 28.0 - abs(hz) / 15.0, "linewidth_hz": 0.05}
        for hz in (-150, -100, -50, 50, 100, 150)
    ]
    birdies = [
        {"name": "birdie", "offset_hz": -1234.5, "direct_snr_db": 25.0},
        {"name": "strong birdie", "offset_hz": 777.0, "direct_snr_db": 45.0, "linewidth_hz": 0.02},
    ]
    count = int(np.ceil(hours))
    drifting = [
        {
            "transmitter": "drifting",
            "start_s": 3600.0 * i,
            "duration_s": 3600.0,
            "peak_snr_db": 35.0,
            "doppler_hz": 75.0,
        }
        for i in range(count)
    ]
    direct = {"name": "direct", "offset_hz": 2.5, "direct_snr_db": 38.0, "linewidth_hz": 0.05}
    lines: list[Event] = [direct, *hum, *birdies, {"name": "drifting", "offset_hz": 1900.0}]
    night = carrier_lines_night({"satellite": drifting}, hours * 3600.0, seed, lines)
    return _count(hear(night), hours)


def nuisance_false_alarms(seed: int) -> FalseAlarms:
    """Listen to an hour of nuisances in four target channels and a guard; the targets' echoes count.

    Impulses on all channels, lightning, gain steps of 1 dB, ducting rises, aircraft beating, combs and a hole of 2 s.
    """
    night = fm_night(nuisance_hour(np.random.default_rng(seed)), 3600.0, seed)
    targets = {channel.name for channel in night.channels if channel.role == "target"}
    return _count([echo for echo in hear(night) if echo.channel in targets], float(len(targets)))


def nuisance_hour(rng: np.random.Generator) -> dict[str, list[Event]]:
    """Return the scenario rows of an hour of nuisances."""

    def starts(count: int, end_s: float = 3500.0) -> list[float]:
        return [float(start) for start in np.sort(rng.uniform(30.0, end_s, count))]

    return {
        "impulses": [
            {
                "start_s": start,
                "duration_s": float(rng.uniform(0.1, 3.0)),
                "peak_snr_db": float(rng.uniform(0, 20)),
                "rate_hz": float(rng.uniform(20, 300)),
            }
            for start in starts(15)
        ],
        "lightning": [
            {"start_s": start, "duration_s": float(rng.uniform(0.1, 0.45)), "peak_snr_db": float(rng.uniform(5, 25))}
            for start in starts(15)
        ],
        "gain_step": [
            {"start_s": start, "duration_s": float(rng.uniform(40, 200)), "step_db": sign}
            for start, sign in zip(starts(4, 3300.0), (1.0, -1.0, 1.0, -1.0), strict=True)
        ],
        "ducting": [
            {
                "transmitter": f"s{i}",
                "start_s": float(rng.uniform(200, 2400)),
                "duration_s": float(rng.uniform(300, 900)),
                "peak_snr_db": float(rng.uniform(-3, 10)),
                "fading_hz": float(rng.uniform(0.005, 0.03)),
            }
            for i in range(2)
        ],
        "aircraft": [
            {
                "transmitter": f"s{i % 4}",
                "start_s": start,
                "duration_s": float(rng.uniform(20, 90)),
                "peak_snr_db": float(rng.uniform(-5, 10)),
                "doppler_hz": float(rng.uniform(10, 80)),
            }
            for i, start in enumerate(starts(12))
        ],
        "comb": [
            {
                "start_s": start,
                "duration_s": float(rng.uniform(2, 60)),
                "peak_snr_db": float(rng.uniform(0, 15)),
                "spacing_hz": float(rng.uniform(30e3, 120e3)),
            }
            for start in starts(5)
        ],
        "loss": [{"start_s": 1800.0, "duration_s": 2.0}],
    }
