"""What is wrong with a checked file, in one line a fault: file, table and key, what was found, what was expected."""

from __future__ import annotations

import difflib
import inspect
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import PydanticUndefined


def explain(name: str, model: type[BaseModel], data: dict[str, Any], error: ValidationError) -> list[str]:
    """Return one line for each fault that pydantic found in ``data`` against ``model``.

    A validator of the whole file may raise several lines at once. ``model`` holds tables and lists of tables, one level
    deep; each field's ``description`` states what is expected. ``name`` is the file's.
    """
    faults = [fault for fault in error.errors(include_url=False) if fault["input"] is not PydanticUndefined]
    lines = []
    for fault in faults:
        if fault["loc"]:
            lines.append(_line(name, model, data, fault))
        else:
            lines.extend(f"{name}: {line}" for line in _reason(fault).splitlines())
    return list(dict.fromkeys(lines))


def _line(name: str, model: type[BaseModel], data: dict[str, Any], fault: Any) -> str:
    location = list(fault["loc"])
    table = str(location[0])
    inner = _table_model(model, table)
    keys = [part for part in location[1:] if isinstance(part, str)]
    key = keys[0] if keys and inner is not None else ""
    if inner is None or (fault["type"] == "extra_forbidden" and not key):
        where = f"{name}: {table}"
        if fault["type"] == "extra_forbidden":
            return f"{where} is not a known table{_suggestion(table, model)}"
        return f"{where}: {_reason(fault)}"
    where = f"{name}: {_heading(table, location, data)}" + (f" {key}" if key else "")
    if fault["type"] == "extra_forbidden":
        return f"{where} is not a known key{_suggestion(key, inner)}"
    expected = _expected(inner, key) if key else _expected(model, table)
    if fault["type"] == "missing":
        return f"{where} is missing: expected {expected}"
    if fault["type"] == "value_error" and not key:
        return f"{where}: {_reason(fault)}"
    return f"{where} = {_shown(fault['input'])}: expected {expected}"


def _reason(fault: Any) -> str:
    return str(fault["ctx"]["error"]) if fault["type"] == "value_error" else str(fault["msg"])


def _heading(table: str, location: list[int | str], data: dict[str, Any]) -> str:
    index = location[1] if len(location) > 1 else None
    if not isinstance(index, int):
        return f"[{table}]"
    entry = data[table][index] if isinstance(data.get(table), list) else {}
    label = entry.get("name") if isinstance(entry, dict) else None
    return f"[[{table}]] {index + 1}" + (f' "{label}"' if isinstance(label, str) else "")


def _table_model(model: type[BaseModel], table: str) -> type[BaseModel] | None:
    field = model.model_fields.get(table)
    if field is None:
        return None
    candidates = [field.annotation, *get_args(field.annotation)]
    return next((each for each in candidates if inspect.isclass(each) and issubclass(each, BaseModel)), None)


def _expected(model: type[BaseModel], key: str) -> str:
    field = model.model_fields.get(key)
    if field is None:
        return "another value"
    if field.description:
        return field.description
    # An optional field carries its description on the branch that is not None.
    for branch in get_args(field.annotation):
        for note in getattr(branch, "__metadata__", ()):
            if getattr(note, "description", None):
                return str(note.description)
    inner = _table_model(model, key)
    return f"a table [{key}]" if inner is not None else "another value"


def _suggestion(key: str, model: type[BaseModel]) -> str:
    known = list(model.model_fields)
    close = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    starts = [each for each in known if each.startswith(key + "_")]
    best = (starts or close or [""])[0]
    return f"; did you mean {best}?" if best else f"; known here: {', '.join(known)}"


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
