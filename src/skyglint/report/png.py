"""Figures as files: an SVG that stands alone, and the same drawing as PNG.

The figures' own SVG is drawn again by Matplotlib, element by element, with the colours and widths that the page's style
sheet gives their classes: one drawing and one set of tokens for pages and files. It knows what the figures use: lines,
rectangles, circles, paths of M, L, A, h, v and z, and text.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator
from dataclasses import asdict
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from markupsafe import Markup

from skyglint.report.figures import marks
from skyglint.report.tokens import BASE_PX, FONT, LARGE_PX, LIGHT, SMALL_PX, Palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Dots a CSS pixel of a PNG: sharp in print at the size of the page.
SCALE = 2.0
_SPACE = "http://www.w3.org/2000/svg"
_RULE = re.compile(r"([^{}@]+)\{([^{}]*)\}")
_NUMBER = re.compile(r"[A-Za-z]|-?\d*\.?\d+(?:e-?\d+)?")
_TAKES = {"M": 2, "L": 2, "A": 7, "h": 1, "v": 1}


def standalone(drawing: Markup, palette: Palette = LIGHT) -> str:
    """Return a figure as an SVG file that needs no page: style, hatching and paper with it."""
    width, height = _size(drawing)
    start = f'<svg xmlns="{_SPACE}" width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} {height:g}">'
    paper = f'<rect width="100%" height="100%" fill="{palette.paper}"/>'
    inner = str(drawing).replace("<svg ", f'<svg width="{width:g}" height="{height:g}" ', 1)
    return f"{start}<style>{_style_sheet(palette)}</style>{paper}{marks.definitions()}{inner}</svg>\n"


def png(drawing: Markup, palette: Palette = LIGHT) -> bytes:
    """Return a figure as PNG."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width, height = _size(drawing)
    rules = _rules(palette)
    with rc_context({"font.family": "DejaVu Sans", "hatch.linewidth": 0.8, "svg.fonttype": "none"}):
        figure = Figure(figsize=(width / 72.0, height / 72.0), dpi=72.0 * SCALE, facecolor=palette.paper)
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(0.0, width), ylim=(height, 0.0))
        axes.axis("off")
        for order, node in enumerate(ElementTree.fromstring(str(drawing)).iter()):
            _draw(axes, node, _style(node, rules), palette, order)
        out = io.BytesIO()
        figure.savefig(out, format="png", metadata={"Software": "Skyglint"})
    return out.getvalue()


def _size(drawing: Markup) -> tuple[float, float]:
    box = ElementTree.fromstring(str(drawing)).attrib["viewBox"].split()
    return float(box[2]), float(box[3])


def _style_sheet(palette: Palette) -> str:
    """Return the page's style sheet for figures alone, the tokens in place."""
    text = (files("skyglint.report") / "templates" / "night.css").read_text(encoding="utf-8")
    text = text[: text.index("@media")]
    kept = [f"{names.strip()}{{{body}}}" for names, body in _RULE.findall(text) if _of_figures(names)]
    return _filled("".join(kept), palette)


def _of_figures(names: str) -> bool:
    return names.strip().startswith((".", "svg text", "text")) and not names.strip().startswith(
        (".card", ".guard", ".row")
    )


def _filled(text: str, palette: Palette) -> str:
    values = {
        **asdict(palette),
        "large": f"{LARGE_PX}px",
        "base": f"{BASE_PX}px",
        "small": f"{SMALL_PX}px",
        "font": FONT,
    }
    return re.sub(r"var\(--([a-z]+)\)", lambda found: values[found[1]], text)


def _rules(palette: Palette) -> dict[str, dict[str, str]]:
    """Return the declarations by class; those of all text stand under ``text``."""
    found: dict[str, dict[str, str]] = {}
    for names, body in _RULE.findall(_style_sheet(palette)):
        declared = dict(part.split(":", 1) for part in body.split(";") if ":" in part)
        for name in names.split(","):
            key = "text" if name.strip() == "svg text" else name.strip().rpartition(".")[2]
            if re.fullmatch(r"(svg text|(svg )?text\.[\w-]+|\.[\w-]+|\.[\w-]+\.[\w-]+)", name.strip()):
                found.setdefault(key, {}).update(declared)
    return found


def _style(node: ElementTree.Element, rules: dict[str, dict[str, str]]) -> dict[str, str]:
    style = dict(rules["text"]) if node.tag == "text" else {}
    for name in node.get("class", "").split():
        style.update(rules.get(name, {}))
    return style | {name: node.attrib[name] for name in ("fill", "fill-opacity") if name in node.attrib}


def _draw(axes: Axes, node: ElementTree.Element, style: dict[str, str], palette: Palette, order: int) -> None:
    if node.tag == "text":
        _text(axes, node, style, order)
        return
    path = _PATHS[node.tag](node) if node.tag in _PATHS else None
    if path is None:
        return
    from matplotlib.patches import PathPatch

    fill = style.get("fill", "none" if node.tag == "line" else palette.ink)
    looks: dict[str, Any] = {"facecolor": fill, "edgecolor": style.get("stroke", "none"), "alpha": None}
    if fill.startswith("url("):
        looks.update(facecolor="none", edgecolor=palette.hatch, hatch="////", linewidth=0.0)
    else:
        looks["linewidth"] = float(style.get("stroke-width", "1").removesuffix("px"))
    if "fill-opacity" in style:
        looks["facecolor"] = _faded(fill, float(style["fill-opacity"]))
    if "stroke-dasharray" in style:
        dashes = [float(part) for part in style["stroke-dasharray"].split()]
        looks["linestyle"] = (0, [part / max(looks["linewidth"], 0.1) for part in dashes])
    axes.add_patch(PathPatch(path, zorder=order, **looks))


def _faded(color: str, share: float) -> tuple[float, float, float, float]:
    red, green, blue = (int(color[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    return red, green, blue, share


def _text(axes: Axes, node: ElementTree.Element, style: dict[str, str], order: int) -> None:
    names = node.get("class", "").split()
    size = LARGE_PX if "large" in names else SMALL_PX
    axes.text(
        float(node.attrib["x"]),
        float(node.attrib["y"]),
        (node.text or "").replace("\u202f", "\u2009"),
        color=style["fill"],
        fontsize=size,
        fontweight="bold" if "large" in names else "normal",
        ha="center" if "middle" in names else "right" if "end" in names else "left",
        va="baseline",
        zorder=order,
    )


def _path_of_line(node: ElementTree.Element) -> Any:
    from matplotlib.path import Path

    x1, y1, x2, y2 = (float(node.get(name, "0")) for name in ("x1", "y1", "x2", "y2"))
    return Path([(x1, y1), (x2, y2)])


def _path_of_rect(node: ElementTree.Element) -> Any:
    from matplotlib.path import Path

    x, y, width, height = (float(node.get(name, "0")) for name in ("x", "y", "width", "height"))
    return Path([(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)], closed=True)


def _path_of_circle(node: ElementTree.Element) -> Any:
    from matplotlib.path import Path

    return Path.circle((float(node.get("cx", "0")), float(node.get("cy", "0"))), float(node.attrib["r"]))


def _path_of_data(node: ElementTree.Element) -> Any:
    from matplotlib.path import Path

    points: list[tuple[float, float]] = []
    codes: list[int] = []
    at = start = (0.0, 0.0)
    for command, values in _commands(node.get("d", "")):
        if command in "zZ":
            points.append(start)
            codes.append(int(Path.CLOSEPOLY))
            at = start
            continue
        route = _route(command, values, at)
        if command == "M":
            start = route[0]
        points += route
        codes += [int(Path.MOVETO if command == "M" else Path.LINETO)] * len(route)
        at = route[-1]
    return Path(points, codes) if points else None


def _route(command: str, values: list[float], at: tuple[float, float]) -> list[tuple[float, float]]:
    """Return the points to which a command leads."""
    x, y = at
    if command == "A":
        return _arc(at, values[0], values[3] != 0.0, values[4] != 0.0, (values[5], values[6]))
    if command == "h":
        return [(x + values[0], y)]
    return [(x, y + values[0])] if command == "v" else [(values[0], values[1])]


def _commands(data: str) -> Iterator[tuple[str, list[float]]]:
    """Yield the commands of path data with their numbers; numbers that follow an M without a letter are an L."""
    tokens = _NUMBER.findall(data)
    command = ""
    k = 0
    while k < len(tokens):
        if tokens[k].isalpha():
            command = tokens[k]
            k += 1
            if command in "zZ":
                yield command, []
                continue
        count = _TAKES[command]
        yield command, [float(token) for token in tokens[k : k + count]]
        k += count
        command = "L" if command == "M" else command


def _arc(
    start: tuple[float, float], radius: float, large: bool, sweep: bool, end: tuple[float, float]
) -> list[tuple[float, float]]:
    """Return points on a circle's arc from its ends (SVG 1.1, appendix F.6.5, for equal radii)."""
    dx, dy = (start[0] - end[0]) / 2.0, (start[1] - end[1]) / 2.0
    half = math.hypot(dx, dy)
    if half == 0.0:
        return [end]
    radius = max(radius, half)
    root = math.sqrt(max(radius**2 - half**2, 0.0)) / half * (-1.0 if large == sweep else 1.0)
    cx, cy = root * dy + (start[0] + end[0]) / 2.0, -root * dx + (start[1] + end[1]) / 2.0
    first = math.atan2(start[1] - cy, start[0] - cx)
    turn = (math.atan2(end[1] - cy, end[0] - cx) - first) % (2.0 * math.pi)
    turn = turn if sweep else turn - 2.0 * math.pi
    steps = max(2, math.ceil(abs(turn) / 0.05))
    angles = [first + turn * k / steps for k in range(1, steps + 1)]
    return [(cx + radius * math.cos(angle), cy + radius * math.sin(angle)) for angle in angles]


_PATHS = {"line": _path_of_line, "rect": _path_of_rect, "circle": _path_of_circle, "path": _path_of_data}
