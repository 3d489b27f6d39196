import dataclasses

import numpy as np
import pytest

from skyglint.echoes.echo import Echo
from skyglint.report import wording
from skyglint.store.records import CoverageSpan, FloorHistory, StoredEcho, Tag


def plain(text):
    return text.replace("\u202f", " ")


def with_lanes(page, *lanes):
    return dataclasses.replace(page, lanes=lanes)


def test_the_state_of_a_night_is_a_sentence(nights):
    assert plain(wording.watched_sentence(nights["full"])) == (
        "Watched 6 h 11 min of 6 h 12 min from 22:10 to 04:22 UTC; 47 s lost: receiver lost samples."
    )
    assert plain(wording.watched_sentence(nights["outage"])) == (
        "Watched 2 h 27 min of 5 h 42 min from 22:10 to 03:52 UTC; "
        "3 h 10 min lost: receiver lost, 5 min lost: recording ends before its stated length."
    )
    assert plain(wording.watched_sentence(nights["empty"])).endswith("; nothing was lost.")


def test_a_short_watch_tells_its_seconds(nights):
    assert "from 22:10:00 to 22:13:00 UTC" in plain(wording.watched_sentence(nights["short"]))


def test_channels_that_differ_are_told_as_a_range(nights):
    first, second, *_ = nights["empty"].lanes
    lost = (CoverageSpan(second.channel.name, 0.0, 3600.0, "lost", "outside the receiver's band"),)
    page = with_lanes(nights["empty"], first, dataclasses.replace(second, watched_s=second.watched_s - 3600, lost=lost))
    assert plain(wording.watched_sentence(page)) == (
        "Watched 4 h 42 min to 5 h 42 min, by channel, of 5 h 42 min from 22:10 to 03:52 UTC; "
        "1 h lost: outside the receiver's band."
    )
    assert wording.lost_rows(page) == [(second.channel.name, "outside the receiver's band", 3600.0)]


def test_more_reasons_than_fit_are_counted(nights):
    lane = nights["empty"].lanes[0]
    lost = tuple(CoverageSpan("a", 0.0, 10.0 + n, "lost", f"reason {n}") for n in range(5))
    page = with_lanes(nights["empty"], dataclasses.replace(lane, lost=lost))
    assert plain(wording.watched_sentence(page)).endswith(
        "14 s lost: reason 4, 13 s lost: reason 3, 12 s lost: reason 2, and 2 other reasons (below)."
    )


def with_floor(page, levels):
    lane = page.lanes[0]
    history = FloorHistory(lane.channel.name, np.arange(len(levels), dtype=float), np.array(levels, dtype=np.float32))
    return with_lanes(page, dataclasses.replace(lane, floor=history))


@pytest.mark.parametrize(
    ("levels", "sentence"),
    [
        ([-58.0] * 20, "Floor steady within 0.1 dB."),
        ([-58.0] * 15 + [-57.7, -58.3] * 4, "Floor steady within 0.3 dB."),
        ([-58.0] * 15 + [-54.0] * 5, "Floor moved by up to 4.0 dB (north-sea)."),
        ([float("nan")] * 3, "The floor was not measured."),
        ([], "The floor was not measured."),
    ],
)
def test_the_floor_is_told_by_its_liveliest_channel(nights, levels, sentence):
    assert plain(wording.floor_sentence(with_floor(nights["empty"], levels))) == sentence


def test_what_counts_and_what_does_not_add_up_to_all(nights):
    for page in nights.values():
        meteors = sum(lane.night.echoes for lane in wording.targets(page))
        assert sum(wording.counts(page, entry) for entry in page.echoes) == meteors


def test_empty_states_explain_themselves(nights):
    page = nights["empty"]
    assert wording.count_sentence(page) == "No echoes in 2 target channels."
    assert wording.best_note(page).startswith("Nothing was found tonight.")
    assert wording.table_note(page) == "None were found."
    disturbed = dataclasses.replace(nights["short"], best=())
    assert wording.best_note(disturbed).startswith("Nothing that was found tonight counts as a meteor")


def test_a_night_is_named_by_both_of_its_dates(nights):
    from datetime import date

    page = nights["empty"]
    assert wording.title_date(page) == "2026-08-12 to 13"
    assert wording.title_date(dataclasses.replace(page, date=date(2026, 8, 31))) == "2026-08-31 to 09-01"
    assert wording.title_date(dataclasses.replace(page, date=date(2026, 12, 31))) == "2026-12-31 to 2027-01-01"


def test_the_caption_says_what_the_section_shows(nights):
    lane = dataclasses.replace(nights["empty"].lanes[0], distance_km=742.0)
    # d1 d2 / (2 R) with R = 6371 km, the usual formula of the Earth's bulge: 10.8 km, and 7.1 km for 600 km.
    assert "runs 7.1 km under" in plain(wording.section_caption(dataclasses.replace(lane, distance_km=600.0)))
    assert plain(wording.section_caption(lane)) == (
        "The straight line runs 11 km under the ground at the middle; a trail 95 km above it stands 13° high from "
        "both ends."
    )
    far = dataclasses.replace(lane, distance_km=2400.0)
    assert "hidden from both ends" in wording.section_caption(far)


def test_stations_are_counted_by_their_code(nights):
    page = nights["short"]
    lane = page.lanes[0]
    first, second, third, *rest = (entry for entry in page.echoes if entry.echo.channel == lane.channel.name)
    heard = [
        dataclasses.replace(entry, echo=dataclasses.replace(entry.echo, rds_pi=code))
        for entry, code in ((first, "F3A7"), (second, "F3A7"), (third, "D2C5"))
    ]
    told = dataclasses.replace(page, echoes=(*heard, *rest))
    assert wording.stations_sentence(told, lane) == "Station heard: F3A7 in 2 echoes, D2C5 in 1 echo."
    assert wording.stations_sentence(dataclasses.replace(page, echoes=()), lane) == ""


def test_satellites_in_view_are_named():
    echo = Echo("north-sea", 0.0, 1.0, 0.0, 15.0, 3.0)
    tags = (Tag("satellite", "400000", {"elevation_deg": 20.4}), Tag("other", "x"))
    assert wording.satellite_words(StoredEcho(1, 1, echo, tags=tags)) == "satellite in view: 400000 (20° high)"
    assert wording.satellite_words(StoredEcho(1, 1, echo)) == ""
