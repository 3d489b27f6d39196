"""Orbit Mean-Elements Messages (CCSDS 502.0-B) as XML, JSON, CSV and key-value text.

Only what SGP4 needs is read. Three traps of simple readers are avoided: catalogue numbers beyond 339999, an epoch
without fractional seconds, and one that ends with Z.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as Xml
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta

from skyglint.sky.orbits.elements import Elements, ElementsFile, check_ranges
from skyglint.utc import parse_utc

Fields = Mapping[str, str]

#: What a message must say of these where it says anything (CCSDS 502.0-B sect. 4).
_REQUIRED_WORDS = {
    "CENTER_NAME": {"EARTH"},
    "REF_FRAME": {"TEME"},
    "TIME_SYSTEM": {"UTC"},
    "MEAN_ELEMENT_THEORY": {"SGP4", "SGP/SGP4"},
}


def read_omm_xml(text: str, source: str) -> ElementsFile:
    """Read messages in XML: each ``segment`` is one object."""
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise ValueError(f"{source}: a document type declaration; expected plain elements")
    try:
        root = Xml.fromstring(text)
    except Xml.ParseError as error:
        raise ValueError(f"{source}: not valid XML: {error}") from error
    segments = [node for node in root.iter() if _local(node.tag) == "segment"]
    return _collect(
        (
            {_local(leaf.tag): (leaf.text or "").strip() for leaf in segment.iter() if len(leaf) == 0}
            for segment in segments
        ),
        source,
    )


def read_omm_json(text: str, source: str) -> ElementsFile:
    """Read messages in JSON: one object of keywords, or a list of them."""
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        raise ValueError(f"{source}: not valid JSON: {error}") from error
    objects = document if isinstance(document, list) else [document]
    if not all(isinstance(item, dict) for item in objects):
        raise ValueError(f"{source}: expected a JSON object of keywords, or a list of such objects")
    return _collect(
        ({key: "" if value is None else str(value) for key, value in item.items()} for item in objects), source
    )


def read_omm_csv(text: str, source: str) -> ElementsFile:
    """Read messages as a table: a header of keywords, one object a line."""
    rows = csv.DictReader(io.StringIO(text))
    return _collect(({key: (value or "").strip() for key, value in row.items() if key} for row in rows), source)


def read_omm_kvn(text: str, source: str) -> ElementsFile:
    """Read messages in key-value notation; each starts with ``CCSDS_OMM_VERS``."""
    messages: list[dict[str, str]] = []
    for line in text.splitlines():
        found = re.match(r"\s*([A-Z0-9_]+)\s*=\s*(.*?)\s*(\[[^\]]*\])?\s*$", line)
        if not found:
            continue
        if found[1] == "CCSDS_OMM_VERS" or not messages:
            messages.append({})
        messages[-1][found[1]] = found[2]
    return _collect(messages, source)


def _collect(messages: Iterable[Fields], source: str) -> ElementsFile:
    elements: list[Elements] = []
    rejected: list[str] = []
    for number, fields in enumerate(messages, start=1):
        label = fields.get("OBJECT_NAME") or fields.get("NORAD_CAT_ID") or "unnamed"
        if problems := list(_problems(fields)):
            rejected.append(f"{source}, message {number} ({label}): {'; '.join(problems)}")
            continue
        made = _elements(fields)
        if wrong := check_ranges(made):
            rejected.append(f"{source}, message {number} ({label}): {wrong}")
        else:
            elements.append(made)
    return ElementsFile(tuple(elements), tuple(rejected))


_NUMBERS = (
    "MEAN_MOTION",
    "ECCENTRICITY",
    "INCLINATION",
    "RA_OF_ASC_NODE",
    "ARG_OF_PERICENTER",
    "MEAN_ANOMALY",
    "BSTAR",
)


def _problems(fields: Fields) -> Iterator[str]:
    for key, allowed in _REQUIRED_WORDS.items():
        value = fields.get(key, "").upper()
        if value and value not in allowed:
            yield f"{key} = {value}: expected {' or '.join(sorted(allowed))}"
    for key in _NUMBERS:
        try:
            finite = math.isfinite(float(fields.get(key, "")))
        except ValueError:
            finite = False
        if not finite:
            yield _fault(fields, key, "a number")
    if not re.fullmatch(r"\d{1,9}", fields.get("NORAD_CAT_ID", "")):
        yield _fault(fields, "NORAD_CAT_ID", "up to nine digits")
    try:
        epoch_unix(fields.get("EPOCH", ""))
    except ValueError:
        yield _fault(fields, "EPOCH", "a UTC time like 2026-11-20T12:25:40.104")


def _fault(fields: Fields, key: str, expected: str) -> str:
    found = f"{key} = {fields[key]}" if fields.get(key) else f"{key} is missing"
    return f"{found}: expected {expected}"


def _elements(fields: Fields) -> Elements:
    motion, eccentricity, inclination, node, perigee, anomaly, bstar = (float(fields[key]) for key in _NUMBERS)
    return Elements(
        name=fields.get("OBJECT_NAME") or fields["NORAD_CAT_ID"],
        catalog_number=int(fields["NORAD_CAT_ID"]),
        object_id=fields.get("OBJECT_ID", ""),
        epoch_unix=epoch_unix(fields["EPOCH"]),
        mean_motion_rev_day=motion,
        eccentricity=eccentricity,
        inclination_deg=inclination,
        node_deg=node,
        perigee_deg=perigee,
        mean_anomaly_deg=anomaly,
        bstar_per_radius=bstar,
    )


def epoch_unix(text: str) -> float:
    """Return the POSIX seconds of a message's epoch: calendar or day-of-year form, UTC with or without Z.

    Examples
    --------
    >>> epoch_unix("2026-11-20T12:00:00") == epoch_unix("2026-324T12:00:00.000Z")
    True
    """
    body = text.strip().removesuffix("Z")
    if found := re.fullmatch(r"(\d{4})-(\d{3})T(.*)", body):
        day = datetime(int(found[1]), 1, 1, tzinfo=UTC) + timedelta(days=int(found[2]) - 1)
        body = f"{day:%Y-%m-%d}T{found[3]}"
    return parse_utc(body + "Z")


def _local(tag: str) -> str:
    """Return a tag without its namespace."""
    return tag.rpartition("}")[2]
