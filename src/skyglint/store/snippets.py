"""The picture of an echo to and from a row of the database."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np
import sqlalchemy as sa

from skyglint.echoes.echo import Snippet
from skyglint.store.packing import Scale, fit_scale

_BYTE = np.dtype("u1")


def pack_snippet(snippet: Snippet) -> dict[str, Any]:
    """Return the columns of the table ``snippets`` for a picture; levels are quantised to 8 bits over their range."""
    power_scale, spectrogram_scale = fit_scale(snippet.power_db), fit_scale(snippet.spectrogram_db)
    return {
        "start_unix": snippet.start_unix,
        "step_s": snippet.step_s,
        "n_times": snippet.spectrogram_db.shape[0],
        "n_offsets": len(snippet.offsets_hz),
        "power_low_db": power_scale.low_db,
        "power_step_db": power_scale.step_db,
        "spectrogram_low_db": spectrogram_scale.low_db,
        "spectrogram_step_db": spectrogram_scale.step_db,
        "power": power_scale.pack(snippet.power_db),
        "offsets": zlib.compress(np.asarray(snippet.offsets_hz, dtype="<f8").tobytes()),
        "spectrogram": spectrogram_scale.pack(snippet.spectrogram_db),
    }


def unpack_snippet(row: sa.Row[Any]) -> Snippet:
    """Return the picture that a row of the table ``snippets`` holds."""
    spectrogram_scale = Scale(row.spectrogram_low_db, row.spectrogram_step_db, _BYTE)
    return Snippet(
        start_unix=row.start_unix,
        step_s=row.step_s,
        power_db=Scale(row.power_low_db, row.power_step_db, _BYTE).unpack(row.power),
        offsets_hz=np.frombuffer(zlib.decompress(row.offsets), dtype="<f8").astype(np.float64),
        spectrogram_db=spectrogram_scale.unpack(row.spectrogram).reshape(row.n_times, row.n_offsets),
    )
