"""The files that pages load: style, script, icon; read once, named by their content, nothing else is served."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from skyglint.report.tokens import css_variables


@dataclass(frozen=True, slots=True)
class File:
    """One file: its bytes and their type."""

    content: bytes
    media_type: str


@cache
def known_files() -> dict[str, File]:
    """Return every file by the name under which it is served, which changes with its content."""
    own = files("skyglint.web") / "static"
    report = files("skyglint.report") / "templates"
    sheets = [(report / name).read_text("utf-8") for name in ("night.css", "passes.css")]
    style = "\n".join((css_variables(), *sheets, (own / "pages.css").read_text("utf-8")))
    found = {"pages.css": File(style.encode(), "text/css; charset=utf-8")}
    for name in ("live.js", "review.js"):
        found[name] = File((own / name).read_bytes(), "text/javascript; charset=utf-8")
    found["icon.svg"] = File((own / "icon.svg").read_bytes(), "image/svg+xml")
    return {f"{hashlib.sha256(file.content).hexdigest()[:12]}-{name}": file for name, file in found.items()}


@cache
def addresses() -> dict[str, str]:
    """Return the address of every file by its plain name."""
    return {name.partition("-")[2]: f"/static/{name}" for name in known_files()}
