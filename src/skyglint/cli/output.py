"""Writing a command's file: never over another unless told to, and with one clear message where it cannot be."""

from __future__ import annotations

from pathlib import Path

from skyglint.errors import RequestError, SkyglintError


def check_free(path: Path, force: bool) -> None:
    """Refuse a path that cannot become a file, before any work is done for it.

    Raises
    ------
    RequestError
        If it is a folder, or is there already and ``force`` is not given.
    """
    if path.is_dir():
        raise RequestError(f"{path}: is a folder: expected the name of a file")
    if path.exists() and not force:
        raise RequestError(f"{path}: is there already: give --force to overwrite it")


def write_file(path: Path, content: str | bytes, force: bool) -> None:
    """Write a file, making its folder where that is missing.

    Raises
    ------
    RequestError
        If it is a folder, or is there already and ``force`` is not given.
    SkyglintError
        If it cannot be written.
    """
    check_free(path, force)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error
