import xml.etree.ElementTree as ET

import numpy as np
import pytest

from skyglint.report.figures import lane
from skyglint.report.figures.timescale import TimeScale
from skyglint.store.records import CoverageSpan

SCALE = TimeScale(1000.0, 2000.0)


def drawn(power_db=None, lost=(), marks=(), top_db=30.0):
    level = np.full(10, 1.0, dtype=np.float32) if power_db is None else np.array(power_db, dtype=np.float32)
    return ET.fromstring(lane.strip("north-sea", SCALE, level, top_db, lost, marks, 60.0))


def outline(figure):
    return next(item.get("d") for item in figure.iter("path") if item.get("class") == "ink")


def test_power_is_drawn_to_scale_from_the_floor_up():
    # 15 of 30 dB is half of 60 px; above the edge the trace is cut there.
    assert outline(drawn([0.0, 15.0, 45.0])) == "M0.5 60L0.5 60L1.5 30L2.5 0L2.5 60Z"


def test_a_gap_leaves_the_line_open_and_the_paper_hatched():
    lost = [CoverageSpan("north-sea", 1250.0, 1500.0, "lost", "receiver <lost>")]
    figure = drawn([1.0, float("nan"), 1.0], lost)
    assert outline(figure).count("M") == 2
    (hatched,) = [item for item in figure.iter("rect") if item.get("fill") == "url(#hatch)"]
    assert (hatched.get("x"), hatched.get("width")) == ("25%", "25%")
    assert hatched.find("title").text == "00:20:50 UTC, 4\u202fmin 10\u202fs not watched: receiver <lost>"


@pytest.mark.parametrize("start", [1000.0, 1400.0, 1999.9])
def test_a_short_loss_is_wide_enough_to_be_seen_and_stays_inside(start):
    (hatched,) = drawn(lost=[CoverageSpan("a", start, start + 0.1, "lost", "x")]).iter("rect")
    left, width = (float(hatched.get(name).rstrip("%")) for name in ("x", "width"))
    assert width == pytest.approx(100.0 * lane.LEAST_LOSS_SHARE)
    assert left >= 0.0
    assert left + width <= 100.0


def test_a_mark_has_its_words_and_leads_to_its_echo():
    entry = lane.LaneMark(1500.0, 1500.1, "head", "head echo, <1 s>", "#echo-7", True)
    figure = drawn(marks=[entry, lane.LaneMark(1600.0, 1600.1, "unknown", "unknown", "#echo-8", False)])
    first, second = figure.iter("a")
    assert first.find("title").text == "head echo, <1 s>"
    assert first.get("href") == "#echo-7"
    assert (first.find("use").get("href"), first.find("use").get("x")) == ("#mark-head", "50%")
    assert (first.get("class"), second.get("class")) == (None, "dim")


def test_an_overdense_mark_is_as_long_as_its_echo_unless_too_short_to_see():
    long = lane.LaneMark(1500.0, 1510.0, "overdense", "overdense", "#echo-7", True)
    short = lane.LaneMark(1500.0, 1501.0, "overdense", "overdense", "#echo-8", True)
    first, second = drawn(marks=[long, short]).iter("a")
    assert (first.find("line").get("x1"), first.find("line").get("x2")) == ("50%", "51%")
    assert second.find("use").get("href") == "#mark-overdense"


def test_lines_stand_at_10_and_20_db():
    level = [item.get("y1") for item in drawn().iter("line") if item.get("x2") == "100%"]
    assert level == ["40", "20"]


def test_a_channel_without_readings_still_has_its_lane():
    assert outline(drawn([])) == ""
