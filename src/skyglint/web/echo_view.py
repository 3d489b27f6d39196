"""Everything that an echo's page shows, as one plain record, and its figures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.echoes.echo import Echo, Snippet
from skyglint.report.figures import trace
from skyglint.report.nights import evening_of, night_span
from skyglint.report.numbers import clock, date_and_clock, fixed, measured, quantity, span
from skyglint.report.spectrogram import data_uri, ink_png, ink_top_db, shrink
from skyglint.report.views import PICTURE_ROWS, PICTURE_TIMES
from skyglint.report.wording import satellite_words
from skyglint.site import Channel
from skyglint.station.retention import find_snippet
from skyglint.station.strength import peak_of_strength_db
from skyglint.store import Store, StoredEcho
from skyglint.web.context import Context
from skyglint.web.live_words import echo_words, unit_of
from skyglint.web.places import Places, possible_places

#: The words of what a flag says to distrust.
FLAG_WORDS = {
    "clipped": "the receiver was at its limits",
    "gap": "cut by missing samples",
    "merged": "more than one burst",
    "guard": "a guard channel showed it too",
    "edge": "cut by the edge of what was watched",
    "other-station": "RDS names another station than the declared one",
    "long": "closed at the longest time that is followed",
}


@dataclass(frozen=True, slots=True)
class EchoPage:
    """One echo.

    Attributes
    ----------
    entry, channel
        The echo and its channel, as last declared.
    evening
        The night that it belongs to, as an ISO date.
    before, after
        Numbers of its neighbours in the night; None at the ends.
    picture
        Its picture, where one was kept.
    snippet
        The metadata file of its samples, where they are still kept.
    places
        Where it may have been; None where the transmitter's place is not known.
    """

    entry: StoredEcho
    channel: Channel
    evening: str
    before: int | None
    after: int | None
    picture: Snippet | None
    snippet: Path | None
    places: Places | None


def gather_echo(context: Context, store: Store, echo_id: int) -> EchoPage | None:
    """Gather the page of an echo; None where there is none of this number."""
    entry = store.echo(echo_id)
    channels = {channel.name: channel for channel in store.channels()}
    if entry is None or entry.echo.channel not in channels:
        return None
    echo, place = entry.echo, context.site.site
    evening = evening_of(echo.start_unix, place.longitude_deg)
    numbers = [other.id for other in store.echoes(*night_span(evening, place.longitude_deg))]
    index = numbers.index(echo_id)
    channel = channels[echo.channel]
    latitude_deg, longitude_deg = context.shown_place
    return EchoPage(
        entry=entry,
        channel=channel,
        evening=evening.isoformat(),
        before=numbers[index - 1] if index else None,
        after=numbers[index + 1] if index + 1 < len(numbers) else None,
        picture=store.snippet(echo_id),
        snippet=find_snippet(context.folder / context.site.station.snippets, echo.channel, echo.start_unix),
        places=possible_places(channel, latitude_deg, longitude_deg, place.height_m, echo.start_unix),
    )


def least_kept(context: Context, page: EchoPage) -> str:
    """Return the peak from which samples are kept, as echoes of this channel state it."""
    return quantity(peak_of_strength_db(context.site.station.snippet_snr_db, page.channel), unit_of(page.channel))


def picture_figure(context: Context, page: EchoPage) -> Markup | None:
    """Return the power trace with the fitted decay over the spectrogram; None where no picture was kept."""
    picture, echo = page.picture, page.entry.echo
    if picture is None or len(picture.power_db) < 2:
        return None
    seconds = picture.start_unix - echo.start_unix + np.arange(len(picture.power_db) + 1) * picture.step_s
    drawn = None
    if picture.spectrogram_db.size:
        level = shrink(picture.spectrogram_db, 2 * PICTURE_TIMES, PICTURE_ROWS)
        half = (picture.offsets_hz[-1] - picture.offsets_hz[0]) / max(1, len(picture.offsets_hz) - 1) / 2.0
        uri = data_uri(ink_png(level, ink_top_db(level)))
        drawn = trace.Spectrogram(uri, picture.offsets_hz[0] - half, picture.offsets_hz[-1] + half)
    label = f"Power over the floor of the {echo_words(context, page.entry)}, and its spectrogram"
    model_db = fitted_decay_db(echo, picture)
    return trace.echo_picture(label, seconds, picture.power_db, drawn, f"ink-{page.entry.id}", model_db)


def fitted_decay_db(echo: Echo, picture: Snippet) -> NDArray[np.float64] | None:
    """Return the course that the measured decay time stands for, from the strongest reading on, dB over the floor.

    The power falls by e^-2 in the decay time. None where no decay was measured.
    """
    if math.isnan(echo.decay_time_s) or echo.decay_time_s <= 0.0:
        return None
    times = picture.start_unix + (np.arange(len(picture.power_db)) + 0.5) * picture.step_s
    # The reading that holds the peak's time; times in the database are exact to a fraction of a microsecond.
    peak = int(np.clip((echo.peak_unix - picture.start_unix) / picture.step_s + 1e-4, 0, len(times) - 1))
    excess = 10.0 ** (float(picture.power_db[peak]) / 10.0) - 1.0
    if not excess > 0.0:
        return None
    course = 10.0 * np.log10(1.0 + excess * np.exp(-2.0 * (times - times[peak]) / echo.decay_time_s))
    course[(times < times[peak]) | (times > echo.end_unix)] = np.nan
    return np.asarray(course)


def measurements(page: EchoPage) -> list[tuple[str, str]]:
    """Return names and values of everything that was measured."""
    echo = page.entry.echo
    unit = unit_of(page.channel)
    after = "" if unit == "dB" else ", referred to 1 Hz"
    rows = [
        ("began", f"{date_and_clock(echo.start_unix)[:10]} {clock(echo.start_unix)} UTC"),
        ("lasted", span(echo.duration_s)),
        ("peak", f"{quantity(echo.peak_snr_db, unit, 1)}{after}" if not math.isnan(echo.peak_snr_db) else ""),
        ("energy", f"{fixed(echo.energy_snr_s, 2)} floors × s" if not math.isnan(echo.energy_snr_s) else ""),
        ("decay of amplitude to 1/e", measured(echo.decay_time_s, echo.decay_time_sd_s, "s")),
        ("height, from the decay", measured(echo.height_km, echo.height_sd_km, "km")),
        ("Doppler shift", measured(echo.doppler_hz, echo.doppler_sd_hz, "Hz")),
        ("its rate", quantity(echo.doppler_rate_hz_s, "Hz/s", 0)),
        ("programme code heard", echo.rds_pi),
        ("at its peak", satellite_words(page.entry)),
        ("to distrust", "; ".join(FLAG_WORDS.get(flag, flag) for flag in echo.flags)),
    ]
    return [(name, value) for name, value in rows if value]
