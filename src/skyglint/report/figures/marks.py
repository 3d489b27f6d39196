"""The marks of the classes: shape carries class, so that no meaning rests on colour."""

from __future__ import annotations

from typing import Literal

from markupsafe import Markup

from skyglint.echoes.echo import EchoClass
from skyglint.report.figures.svg import element

Mark = Literal["underdense", "overdense", "head", "unknown", "other"]

#: What the key says of each mark.
WORDS: dict[Mark, str] = {
    "underdense": "underdense",
    "overdense": "overdense",
    "head": "head echo",
    "unknown": "unknown",
    "other": "not a meteor",
}

#: The names of the classes in running text, where they differ from the tables' words.
CLASS_WORDS: dict[EchoClass, str] = {"head": "head echo", "sporadic-e": "sporadic E"}


def mark_of(echo_class: EchoClass) -> Mark:
    """Return the mark that stands for a class."""
    if echo_class in ("underdense", "overdense", "head", "unknown"):
        return echo_class
    return "other"


def class_word(echo_class: EchoClass) -> str:
    """Return a class's name as a person reads it."""
    return CLASS_WORDS.get(echo_class, echo_class)


def definitions() -> Markup:
    """Return the hidden drawing that defines the marks, each about a point at its middle, and the hatched paper."""
    shapes = (
        element("path", d="M0-4.6 5 4.2H-5Z", id="mark-underdense", class_="fell"),
        element("rect", x=-6.0, y=-2.5, width=12.0, height=5.0, rx=2.5, id="mark-overdense", class_="fell"),
        element("circle", r=3.5, id="mark-head", class_="fell-outline"),
        element("path", d="M0-4 4.3 3.6H-4.3Z", id="mark-unknown", class_="fell-outline"),
        element("path", d="M-3.6-3.6 3.6 3.6M3.6-3.6-3.6 3.6", id="mark-other", class_="not-fell"),
    )
    hatch = element(
        "pattern",
        element("rect", width=6.0, height=6.0, class_="hatch-paper"),
        element("path", d="M0 0V6", class_="hatch-line"),
        id="hatch",
        width=6.0,
        height=6.0,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
    return element("svg", element("defs", *shapes, hatch), width=0, height=0, class_="defs", aria_hidden="true")


def mark(name: Mark) -> Markup:
    """Return one mark the size of a letter, for text beside it that says the word."""
    return element(
        "svg", element("use", href=f"#mark-{name}"), class_="mark", viewBox="-7 -6 14 12", aria_hidden="true"
    )


def key() -> Markup:
    """Return the key: every mark with its word, and the hatched paper."""
    entries = [element("span", mark(name), " ", word) for name, word in WORDS.items()]
    swatch = element(
        "svg",
        element("rect", width="100%", height="100%", fill="url(#hatch)"),
        class_="mark swatch",
        aria_hidden="true",
    )
    return element("p", *entries, element("span", swatch, " nothing was watched"), class_="key")
