"""Writing a SigMF recording: raw values streamed to the data file, metadata when it is complete."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from numpy.typing import NDArray

from skyglint import __version__
from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Encoding
from skyglint.signals.sigmf_files import ARCHIVE, DATA, META
from skyglint.utc import format_utc


class SigMFWriter:
    """Write one recording of one or more captures; a context manager.

    The data goes to a file with a temporary name; both files appear under their own names when the recording is
    closed, the data first. Leaving the ``with`` block by an exception discards it.

    Parameters
    ----------
    path
        Name of the recording, with or without ``.sigmf-meta`` or ``.sigmf-data``.
    encoding
        How the values are written.
    sample_rate_hz
        Of all captures.
    force
        Whether to replace an existing recording.
    fields
        Further fields of the metadata's ``global``, such as ``core:description`` or ``core:hw``.

    Raises
    ------
    RequestError
        If the recording exists and ``force`` is not given, or the folder cannot be written to.
    """

    def __init__(
        self,
        path: Path,
        encoding: Encoding,
        sample_rate_hz: float,
        *,
        force: bool = False,
        fields: dict[str, Any] | None = None,
    ) -> None:
        if path.suffix == ARCHIVE:
            raise RequestError(f"{path}: archives are read, not written: expected a name ending in {META}")
        stem = path.name.removesuffix(META).removesuffix(DATA)
        self.meta_path = path.with_name(stem + META)
        self.data_path = path.with_name(stem + DATA)
        self._part_path = path.with_name(f".{stem}{DATA}.part")
        self._encoding = encoding
        self._sample_rate_hz = sample_rate_hz
        self._fields = fields or {}
        self._captures: list[dict[str, Any]] = []
        self._n_samples = 0
        for existing in (self.meta_path, self.data_path):
            if existing.exists() and not force:
                raise RequestError(f"{existing}: exists; give --force to replace it")
        try:
            self._file = self._part_path.open("wb")
        except OSError as error:
            raise RequestError(f"{self.data_path}: cannot be written: {error.strerror}") from error

    def capture(self, start_unix: float, center_frequency_hz: float) -> None:
        """Begin a capture: the next value written was taken at this time and frequency."""
        if self._captures and self._captures[-1]["core:sample_start"] == self._n_samples:
            self._captures.pop()
        self._captures.append(
            {
                "core:sample_start": self._n_samples,
                "core:datetime": _datetime(start_unix),
                "core:frequency": center_frequency_hz,
            }
        )

    def write(self, values: NDArray[Any]) -> None:
        """Append raw values, I and Q interleaved, of the writer's encoding.

        Raises
        ------
        ValueError
            If no capture was begun, or the values are of another type.
        SourceError
            If they cannot be written, for example because the disk is full.
        """
        if not self._captures:
            raise ValueError("no capture was begun")
        if values.dtype != self._encoding.dtype or len(values) % self._encoding.components:
            raise ValueError(f"{len(values)} values of {values.dtype}: expected whole samples of {self._encoding.name}")
        try:
            self._file.write(values.data)
        except OSError as error:
            raise SourceError(f"{self.data_path}: writing failed: {error.strerror}") from error
        self._n_samples += len(values) // self._encoding.components

    def close(self) -> None:
        """Put both files in place.

        Raises
        ------
        SourceError
            If they cannot be written.
        """
        meta = {
            "global": {
                "core:version": "1.2.0",
                "core:datatype": self._encoding.name,
                "core:sample_rate": self._sample_rate_hz,
                "core:recorder": f"skyglint {__version__}",
                "core:extensions": [{"name": "skyglint", "version": "1.0.0", "optional": True}],
                "skyglint:sample_count": self._n_samples,
                **self._fields,
            },
            "captures": self._captures,
            "annotations": [],
        }
        meta_part = self.meta_path.with_name(f".{self.meta_path.name}.part")
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
            meta_part.write_text(json.dumps(meta, indent=2) + "\n", encoding="utf-8")
            self._part_path.replace(self.data_path)
            meta_part.replace(self.meta_path)
        except OSError as error:
            raise SourceError(f"{self.data_path}: writing failed: {error.strerror}") from error

    def discard(self) -> None:
        """Give the recording up and remove what was written."""
        self._file.close()
        self._part_path.unlink(missing_ok=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.discard()


def _datetime(unix: float) -> str:
    """Return UTC text with all that a double resolves: nine decimals, where three would lose samples."""
    whole = math.floor(unix)
    return format_utc(whole, 0)[:-1] + f"{unix - whole:.9f}"[1:] + "Z"
