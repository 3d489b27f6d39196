"""Logs as lines that a person reads, or as one JSON object a line."""

from __future__ import annotations

import json
import logging
import sys

from skyglint.utc import format_utc


class _Plain(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        level = "" if record.levelno == logging.INFO else f"{record.levelname.lower()}: "
        line = f"{format_utc(record.created, 1)} {record.processName}: {level}{record.getMessage()}"
        return f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line


class _Json(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        return json.dumps(
            {
                "time": format_utc(record.created),
                "level": record.levelname.lower(),
                "process": record.processName,
                "where": record.name,
                "message": record.getMessage(),
                **({"traceback": self.formatException(record.exc_info)} if record.exc_info else {}),
            },
            ensure_ascii=False,
        )


def set_up_logs(as_json: bool, process: str) -> None:
    """Send this process's log to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Json() if as_json else _Plain())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.INFO)
    for talkative in ("alembic", "uvicorn"):
        logging.getLogger(talkative).setLevel(logging.WARNING)

    def name_it(record: logging.LogRecord) -> bool:
        record.processName = process
        return True

    handler.addFilter(name_it)
