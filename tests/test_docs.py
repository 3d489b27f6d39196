"""The guide is complete: every command and every column is in it."""

from pathlib import Path

import pytest

from skyglint.cli.app import COMMANDS
from skyglint.report.tables import COVERAGE_COLUMNS, ECHO_COLUMNS, RATE_COLUMNS

DOCS = Path(__file__).parents[1] / "docs"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_documented(command):
    assert f"`skyglint {command}" in (DOCS / "guide" / "commands.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("columns", [ECHO_COLUMNS, COVERAGE_COLUMNS, RATE_COLUMNS])
def test_every_column_is_documented(columns):
    text = (DOCS / "guide" / "files.md").read_text(encoding="utf-8")
    assert [column.name for column in columns if column.name not in text] == []
