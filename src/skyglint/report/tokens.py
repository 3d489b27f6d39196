"""The tokens of the look: every colour and size of pages and figures, once, as plain values.

Ink tones carry all measured power, one warm ember marks what fell, nothing else is coloured. The style sheet reads the
tokens as custom properties; a plotting library reads the same attributes.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True, slots=True)
class Palette:
    """One scheme's colours, as ``#rrggbb``.

    Attributes
    ----------
    paper, card, guard, ground
        Grounds: the page, a card on it, the tint of guard lanes, the Earth in a cross-section.
    ink, soft
        Text: first and second voice.
    line, hatch
        Rules and grids; the strokes of hatched paper, where nothing was watched.
    trace, fill, faint
        Measured power: its line, the area under it, and the outline of what is only expected or possible.
    ember
        What fell.
    """

    paper: str
    card: str
    guard: str
    ground: str
    ink: str
    soft: str
    line: str
    hatch: str
    trace: str
    fill: str
    faint: str
    ember: str


LIGHT = Palette(
    paper="#faf8f3",
    card="#ffffff",
    guard="#f1ede3",
    ground="#d9d3c4",
    ink="#22303a",
    soft="#5c6a73",
    line="#ded8cb",
    hatch="#b9b09c",
    trace="#3b5261",
    fill="#c9d3d6",
    faint="#a7b3b8",
    ember="#b3431b",
)

DARK = Palette(
    paper="#14191d",
    card="#1b2227",
    guard="#182025",
    ground="#2b3338",
    ink="#e6e9ea",
    soft="#9aa7ae",
    line="#2d373d",
    hatch="#55636b",
    trace="#b9c8cf",
    fill="#33454f",
    faint="#5e6f78",
    ember="#ff8f5e",
)

#: For the printer: black on white, and every tone still told apart in grey.
PRINT = Palette(
    paper="#ffffff",
    card="#ffffff",
    guard="#f2f2f2",
    ground="#d0d0d0",
    ink="#000000",
    soft="#404040",
    line="#c4c4c4",
    hatch="#808080",
    trace="#202020",
    fill="#c8c8c8",
    faint="#909090",
    ember="#000000",
)

#: The only three sizes of text, in CSS pixels: numbers that are read from across a room, text, and small print.
LARGE_PX = 24.0
BASE_PX = 15.0
SMALL_PX = 12.5

FONT = 'ui-sans-serif, system-ui, "Segoe UI", Roboto, "DejaVu Sans", sans-serif'


def css_variables() -> str:
    """Return the tokens as a style sheet: light by default, dark where the reader prefers it, black on white on paper.

    Dark is kept to screens, so that a reader with a dark screen still prints black on white.
    """
    sizes = f"--large:{LARGE_PX:g}px;--base:{BASE_PX:g}px;--small:{SMALL_PX:g}px;--font:{FONT}"
    return "\n".join(
        (
            f":root{{color-scheme:light dark;{_declarations(LIGHT)};{sizes}}}",
            f"@media screen and (prefers-color-scheme:dark){{:root{{{_declarations(DARK)}}}}}",
            f"@media print{{:root{{{_declarations(PRINT)}}}}}",
        )
    )


def _declarations(palette: Palette) -> str:
    return ";".join(f"--{name}:{colour}" for name, colour in asdict(palette).items())
