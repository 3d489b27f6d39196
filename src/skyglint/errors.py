"""The errors that a person meets: one root, a short tree, each with one clear message and its exit status.

A message names what (file, line or key), what was found and what was expected. A library's own error is translated at
the boundary where it arises and stays attached as the cause.
"""

from __future__ import annotations


class SkyglintError(Exception):
    """Something a person has to know; the command line prints it as one line.

    Attributes
    ----------
    exit_status
        What the command returns: 1 when the work ran and failed, 2 when the request itself was wrong.
    """

    exit_status = 1


class RequestError(SkyglintError):
    """The request itself was wrong: a missing file, an impossible option, two options that exclude each other."""

    exit_status = 2


class SiteFileError(RequestError):
    """A site file with faults; all of them are reported in one go.

    Parameters
    ----------
    problems
        One line for each fault, each naming the file, the key, what was found and what was expected.
    """

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


class SourceError(SkyglintError):
    """A recording or a receiver that cannot be used (at all, or any further)."""


class StoreError(SkyglintError):
    """A database that cannot be read or written: of another version, locked, read-only, not ours."""


class ScenarioError(RequestError):
    """A scenario for the simulator with faults."""
