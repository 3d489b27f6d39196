"""The calendar and the comparison against counts taken by hand from the rows of the open data."""

import re
from collections import Counter
from datetime import date

import numpy as np
import pytest

from skyglint.utc import parse_utc
from skyglint.web.calendar import gather_month
from skyglint.web.comparison import compare
from skyglint.web.night_pages import night

METEORIC = {"underdense", "overdense", "head", "unknown"}
TARGETS = ("north-sea", "lowland", "beacon <b>")
EVENING = date(2026, 8, 12)


@pytest.fixture
def rows(client) -> list[dict]:
    span = {"start_utc": "2026-08-08T00:00:00Z", "end_utc": "2026-08-14T00:00:00Z", "limit": 5000}
    return client.get("/api/v1/echoes", params=span).json()["rows"]


def of_night(rows, evening: date) -> list[dict]:
    # Noon by the Sun at 2.93 degrees west is 12:11:44 UTC; no row of these nights is within minutes of it.
    start = parse_utc(f"{evening}T12:11:44Z")
    return [row for row in rows if start <= parse_utc(row["start_utc"]) < start + 86_400]


def test_the_calendar_counts_what_the_rows_say(context, rows):
    month = gather_month(context, "")
    assert (month.first, month.before, month.after) == (date(2026, 8, 1), "", "")
    assert [len(week) for week in month.weeks] == [7] * 6
    shown = {cell[0]: cell[1] for week in month.weeks for cell in week if cell and cell[1]}
    assert list(shown) == [date(2026, 8, 10), date(2026, 8, 11), date(2026, 8, 12)]
    for evening, found in shown.items():
        own = of_night(rows, evening)
        assert found.echoes == sum(row["class"] in METEORIC and row["channel"] in TARGETS for row in own)
    # Six hours of each earlier night were watched, but for 240 seconds.
    assert shown[date(2026, 8, 10)].watched_s == pytest.approx(6 * 3600 - 240)
    assert month.most == max(found.echoes for found in shown.values())


def test_the_grid_begins_on_monday(client):
    text = client.get("/nights?month=2026-08").text
    # The 1st of August 2026 is a Saturday (ISO 8601 week 31).
    first = re.search(r"<tbody>\s*<tr>(.*?)</tr>", text, re.DOTALL)[1]
    assert [re.sub(r"<.*?>", "", cell).strip() for cell in first.split("</td>")[:7]] == ["", "", "", "", "", "1", "2"]


def test_channels_are_compared_as_by_hand(context, rows):
    page = night(context, EVENING)
    with context.archive.reading() as store:
        found = compare(store, page)
    own = of_night(rows, EVENING)
    assert found.classes == {
        lane.channel.name: Counter(row["class"] for row in own if row["channel"] == lane.channel.name)
        for lane in page.lanes
    }
    starts = {
        name: np.array(
            [parse_utc(row["start_utc"]) for row in own if row["channel"] == name and row["class"] in METEORIC]
        )
        for name in TARGETS
    }
    assert [(pair.first, pair.second) for pair in found.pairs] == [
        (TARGETS[0], TARGETS[1]),
        (TARGETS[0], TARGETS[2]),
        (TARGETS[1], TARGETS[2]),
    ]
    for pair in found.pairs:
        apart = np.abs(starts[pair.first][:, None] - starts[pair.second])
        assert pair.shared.together == (apart <= 0.5).any(axis=1).sum()
        assert (pair.shared.first, pair.shared.second) == (len(starts[pair.first]), len(starts[pair.second]))
    # All channels were watched equally long, so that the scale is nearly the ratio of the counts.
    ratio = len(starts[TARGETS[1]]) / len(starts[TARGETS[0]])
    assert found.scales.factor[0] == 1.0
    assert found.scales.factor[1] == pytest.approx(ratio, rel=0.02)
