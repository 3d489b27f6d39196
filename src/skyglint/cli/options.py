"""Arguments and options that several commands share, so that they read the same everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from skyglint.errors import RequestError
from skyglint.utc import parse_utc

SiteArgument = Annotated[Path, typer.Argument(metavar="SITE", help="The site file.", show_default=False)]
DatabaseArgument = Annotated[Path, typer.Argument(metavar="NIGHT.db", help="The database.", show_default=False)]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document, for machines.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Overwrite what is there.")]


def utc_option(text: str | None, option: str) -> float | None:
    """Return the POSIX seconds of an option's UTC text, or ``None`` where it was not given.

    Raises
    ------
    RequestError
        If it is not such a time.
    """
    if text is None:
        return None
    try:
        return parse_utc(text)
    except ValueError as error:
        raise RequestError(f"{option}: {error}") from error
