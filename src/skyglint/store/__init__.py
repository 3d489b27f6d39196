"""The database of results: schema, migrations, writing, reading.

Here live the tables, how a database is opened and brought up to date, the writer that takes one recording's results in
one transaction, and the queries that give records and arrays back. Nothing here computes a rate, draws a picture or
knows where samples come from; what the rows mean is the business of the rooms on either side.
"""

from skyglint.store.records import CoverageSpan, FloorHistory, Recording, Run, StoredEcho, Strip, Tag, Verdict
from skyglint.store.store import Store
from skyglint.store.writer import RecordingWriter

__all__ = [
    "CoverageSpan",
    "FloorHistory",
    "Recording",
    "RecordingWriter",
    "Run",
    "Store",
    "StoredEcho",
    "Strip",
    "Tag",
    "Verdict",
]
