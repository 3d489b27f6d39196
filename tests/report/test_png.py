"""Figures as files: the PNG shows what the SVG draws."""

import io
from xml.etree import ElementTree

import matplotlib.image
import numpy as np
import pytest
from markupsafe import Markup

from skyglint.report.figures.svg import element, figure
from skyglint.report.png import SCALE, png, standalone
from skyglint.report.tokens import DARK, LIGHT


def pixels(drawing, palette=LIGHT):
    return (matplotlib.image.imread(io.BytesIO(png(drawing, palette)))[..., :3] * 255).round().astype(int)


def rgb(colour):
    return [int(colour[k : k + 2], 16) for k in (1, 3, 5)]


def at(image, x, y):
    return image[int(SCALE * y), int(SCALE * x)].tolist()


def test_a_rectangle_stands_where_it_was_drawn():
    drawing = figure("a bar", 100.0, 50.0, element("rect", x=10.0, y=20.0, width=30.0, height=20.0, class_="bar"))
    for palette in (LIGHT, DARK):
        image = pixels(drawing, palette)
        assert image.shape == (50 * SCALE, 100 * SCALE, 3)
        assert at(image, 25, 30) == rgb(palette.trace)
        for x, y in ((5, 30), (45, 30), (25, 15), (25, 45)):
            assert at(image, x, y) == rgb(palette.paper)


def test_ink_of_a_share_lies_between_paper_and_ink():
    drawing = figure(
        "", 20.0, 20.0, element("rect", x=0.0, y=0.0, width=20.0, height=20.0, class_="ramp", fill_opacity=0.5)
    )
    middle = (np.array(rgb(LIGHT.paper)) + rgb(LIGHT.trace)) / 2
    assert np.abs(at(pixels(drawing), 10, 10) - middle).max() <= 1.0


@pytest.mark.parametrize(
    ("data", "inside", "outside"),
    [
        # A half disc below its chord, and the same above: the arc's sweep decides (SVG 1.1, F.6).
        ("M10 25A15 15 0 0 0 40 25Z", (25, 33), (25, 17)),
        ("M10 25A15 15 0 0 1 40 25Z", (25, 17), (25, 33)),
        # Three quarters of a disc about (25, 25), and the quarter that is missing.
        ("M25 25L25 10A15 15 0 1 1 10 25Z", (32, 32), (18, 18)),
        ("M25 25L25 10A15 15 0 0 0 10 25Z", (18, 18), (32, 32)),
        ("M10 10h20v20h-20z", (20, 20), (35, 20)),
    ],
)
def test_paths(data, inside, outside):
    image = pixels(figure("", 50.0, 50.0, element("path", d=data, class_="bar")))
    assert at(image, *inside) == rgb(LIGHT.trace)
    assert at(image, *outside) == rgb(LIGHT.paper)


def test_lines_circles_hatching_and_text_leave_ink():
    parts = {
        "line": element("line", x1=5.0, x2=45.0, y1=25.0, y2=25.0, class_="whisker"),
        "circle": element("circle", cx=25.0, cy=25.0, r=5.0, class_="dot"),
        "hatched": element("rect", x=5.0, y=5.0, width=40.0, height=40.0, fill="url(#hatch)"),
        "text": element("text", "26 / h", x=25.0, y=30.0, class_="small middle"),
        "dashes": element("path", d="M5 25L45 25", class_="expected"),
    }
    for name, part in parts.items():
        image = pixels(figure("", 50.0, 50.0, part))
        changed = np.any(image != rgb(LIGHT.paper), axis=-1)
        assert changed.any(), name
        rows, columns = np.nonzero(changed)
        assert abs(columns.mean() / SCALE - 25.0) < 3.0, name
        assert abs(rows.mean() / SCALE - 25.0) < 6.0, name


def test_a_file_stands_alone():
    drawing = figure("rates", 100.0, 50.0, element("rect", x=0.0, y=0.0, width=9.0, height=9.0, fill="url(#hatch)"))
    text = standalone(drawing)
    root = ElementTree.fromstring(text)
    assert root.attrib["viewBox"] == "0 0 100 50"
    assert 'id="hatch"' in text
    assert "var(--" not in text
    assert LIGHT.trace in text
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")


def test_what_it_does_not_know_is_left_out():
    drawing = Markup('<svg viewBox="0 0 10 10"><title>x</title><g></g></svg>')
    assert (pixels(drawing) == rgb(LIGHT.paper)).all()
