import xml.etree.ElementTree as ET

import numpy as np
import pytest

from skyglint.report.figures import trace


def picture(power_db, step_s=0.1, spectrogram=None, start_s=-0.5):
    seconds = start_s + np.arange(len(power_db) + 1) * step_s
    return ET.fromstring(trace.echo_picture("an echo", seconds, np.array(power_db), spectrogram, "ink-1"))


def texts(figure):
    return [item.text for item in figure.iter("text")]


def test_the_peak_stands_below_the_upper_edge_at_its_own_time():
    figure = picture([0.0] * 5 + [20.0] + [0.0] * 4)
    line = next(item.get("d") for item in figure.iter("path") if item.get("class") == "ink-line")
    points = [tuple(map(float, point.split())) for point in line[1:].split("L")]
    x, y = min(points, key=lambda point: point[1])
    assert 0.0 < y < 0.15 * trace.TRACE_PX
    # The sixth of ten readings: its middle is at 5.5 tenths.
    assert x == pytest.approx(trace.LEFT_PX + 0.55 * (trace.WIDTH_PX - trace.LEFT_PX), abs=0.01)


def test_time_runs_from_the_start_of_the_echo():
    assert [text for text in texts(picture([1.0] * 30)) if text.endswith("\u202fs")] == ["0\u202fs"]
    assert "0.0\u202fs" in texts(picture([1.0] * 30, step_s=0.02))


@pytest.mark.parametrize("power_db", [[0.1] * 4, [np.nan] * 4, [np.nan, 9.0, 55.0, np.nan]])
def test_faint_missing_and_huge_readings_are_drawn(power_db):
    levels = [float(text) for text in texts(picture(power_db)) if text.isdigit()]
    assert 1 <= len(levels) <= 8


def test_the_spectrogram_is_a_mask_over_the_ink_and_names_its_frequencies():
    figure = picture([3.0] * 20, spectrogram=trace.Spectrogram("data:image/png;base64,AAAA", -100e3, 100e3))
    (mask,) = figure.iter("mask")
    assert next(item.get("mask") for item in figure.iter("rect")) == f"url(#{mask.get('id')})"
    assert {"kHz", "0", "+50"} <= set(texts(figure))
    narrow = picture([3.0] * 20, spectrogram=trace.Spectrogram("data:,", -300.0, 300.0))
    assert {"Hz", "+200"} <= set(texts(narrow))


def test_a_spark_is_wordless_and_breaks_at_gaps():
    figure = ET.fromstring(trace.spark(np.array([1.0, np.nan, 3.0, 8.0])))
    assert figure.get("aria-hidden") == "true"
    assert next(figure.iter("path")).get("d").count("M") == 2
