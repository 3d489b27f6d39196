"""Elements from files, whatever their form."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.sky.orbits.elements import Elements, ElementsFile
from skyglint.sky.orbits.omm import read_omm_csv, read_omm_json, read_omm_kvn, read_omm_xml
from skyglint.sky.orbits.tle import read_tle


def parse_elements(text: str, source: str) -> ElementsFile:
    """Read elements from text, telling its form by its first characters; ``source`` stands in the messages.

    Raises
    ------
    ValueError
        If the text is in none of the forms, or not valid in its own.
    """
    body = text.lstrip("\ufeff \t\r\n")
    if body.startswith("<"):
        return read_omm_xml(body, source)
    if body.startswith(("[", "{")):
        return read_omm_json(body, source)
    lines = text.lstrip("\ufeff").splitlines()
    if "CCSDS_OMM_VERS" in text or any(line.startswith("EPOCH") and "=" in line for line in lines):
        return read_omm_kvn(text, source)
    if "NORAD_CAT_ID" in body.partition("\n")[0]:
        return read_omm_csv(body, source)
    if any(line.startswith("1 ") for line in lines):
        return read_tle("\n".join(lines), source)
    raise ValueError(f"{source}: no orbital elements: expected OMM (XML, JSON, CSV or key-value text) or two-line sets")


def load_elements(paths: Sequence[Path]) -> ElementsFile:
    """Read elements from files; of the same object in several sets, the newest.

    Raises
    ------
    RequestError
        If a file cannot be read, is of no known form, or no set in any of them is usable.
    """
    newest: dict[int, Elements] = {}
    rejected: list[str] = []
    for path in paths:
        try:
            found = parse_elements(path.read_text(encoding="utf-8"), str(path))
        except FileNotFoundError as error:
            raise RequestError(f"{path}: no such file of orbital elements") from error
        except OSError as error:
            raise RequestError(f"{path}: cannot be read: {error.strerror}") from error
        except UnicodeDecodeError as error:
            raise RequestError(
                f"{path}: not text in UTF-8 (byte {error.start}); expected OMM or two-line sets"
            ) from error
        except ValueError as error:
            raise RequestError(str(error)) from error
        rejected.extend(found.rejected)
        for elements in found.elements:
            known = newest.get(elements.catalog_number)
            if known is None or elements.epoch_unix > known.epoch_unix:
                newest[elements.catalog_number] = elements
    if not newest:
        raise RequestError("\n".join([*rejected, f"{', '.join(map(str, paths))}: no usable orbital elements"]))
    return ElementsFile(tuple(newest.values()), tuple(rejected))
