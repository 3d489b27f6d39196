"""The packaged demo: an invented site and a scenario of an invented morning."""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent / "demo"


def demo_files() -> tuple[Path, Path]:
    """Return the paths of the demo's site file and of its scenario."""
    return _FOLDER / "site.toml", _FOLDER / "scenario.toml"
