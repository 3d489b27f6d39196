"""The layout of folders is the architecture: a room imports only from rooms to its left (docs/architecture.md)."""

import ast
from pathlib import Path

import skyglint

ROOT = Path(skyglint.__file__).parent

# Left to right, as the data flows. Rooms on one line may not import each other.
ORDER = [
    ["errors", "utc", "decibels", "site"],
    ["sky", "path"],
    ["transmitters"],
    ["signals"],
    ["dsp"],
    ["fm"],
    ["echoes"],
    ["store"],
    ["activity"],
    ["plan", "horizon", "simulate"],
    ["station"],
    ["report"],
    ["web"],
    ["cli"],
]
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}


def imported_rooms(path: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("skyglint."):
            rooms.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            rooms.update(alias.name.split(".")[1] for alias in node.names if alias.name.startswith("skyglint."))
    return rooms


def test_imports_follow_the_flow_of_the_data():
    against = []
    for path in ROOT.rglob("*.py"):
        room = path.relative_to(ROOT).parts[0].removesuffix(".py")
        if room == "__init__":
            continue
        for other in imported_rooms(path) - {room}:
            if RANK[other] >= RANK[room] and not (RANK[room] == RANK[other] == 0):
                against.append(f"{path.relative_to(ROOT)} imports {other}")
    assert not against


def test_every_room_says_what_lives_there():
    for folder in (item for item in ROOT.iterdir() if item.is_dir() and item.name != "__pycache__"):
        assert ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8"))), folder
