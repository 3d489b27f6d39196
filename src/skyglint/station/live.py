"""The live feed: what the engine tells the pages, ten times a second, and never waits for.

Datagrams on the loopback interface: the engine sends and forgets, so that no page and no viewer can ever hold it up; a
pages process that starts late, stalls or dies loses only what it missed. Everything lasting goes through the database.
"""

from __future__ import annotations

import base64
import json
import math
import socket
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

#: Largest datagram that is sent; spectra are left out of a message that would be larger.
MOST_BYTES = 60_000

State = Literal["starting", "watching", "waiting", "lost"]


@dataclass(frozen=True, slots=True)
class LiveEcho:
    """An echo that has just closed; its row in the database has the rest."""

    channel: str
    start_unix: float
    duration_s: float
    peak_snr_db: float
    echo_class: str


@dataclass(frozen=True, slots=True)
class LiveMessage:
    """A tenth of a second of the station.

    Attributes
    ----------
    end_unix, step_s
        UTC of the end of the readings, and the time that they span.
    state
        ``starting``, ``watching``, ``waiting`` (for its hours) or ``lost`` (no samples).
    sentence
        The state of the station in words.
    power_db
        Largest power over the floor in the step by channel, dB; NaN where not watched.
    floor_db
        Floor by channel, dB relative to full scale.
    spectra_db
        Bin power over its own floor by channel, shape (n_bins,), dB; empty when shed.
    echoes
        Echoes that closed in the step.
    health
        Numbers about the engine by name, each in the unit that its name states.
    """

    end_unix: float
    step_s: float
    state: State
    sentence: str
    power_db: dict[str, float] = field(default_factory=dict)
    floor_db: dict[str, float] = field(default_factory=dict)
    spectra_db: dict[str, NDArray[np.float32]] = field(default_factory=dict)
    echoes: tuple[LiveEcho, ...] = ()
    health: dict[str, float] = field(default_factory=dict)


def encode(message: LiveMessage) -> bytes:
    """Return a message as one JSON datagram; spectra as 8-bit steps of 0.25 dB from -10 dB, in base 64."""
    data: dict[str, Any] = asdict(message)
    data["power_db"] = _numbers(message.power_db)
    data["floor_db"] = _numbers(message.floor_db)
    data["health"] = _numbers(message.health)
    data["spectra_db"] = {name: _packed(levels) for name, levels in message.spectra_db.items()}
    text = json.dumps(data, separators=(",", ":")).encode()
    if len(text) > MOST_BYTES:
        data["spectra_db"] = {}
        text = json.dumps(data, separators=(",", ":")).encode()
    return text


def decode(datagram: bytes) -> LiveMessage:
    """Return the message in a datagram.

    Raises
    ------
    ValueError
        If it is not one.
    """
    try:
        data = json.loads(datagram)
        return LiveMessage(
            end_unix=float(data["end_unix"]),
            step_s=float(data["step_s"]),
            state=data["state"],
            sentence=data["sentence"],
            power_db=_levels(data["power_db"]),
            floor_db=_levels(data["floor_db"]),
            spectra_db={name: _unpacked(text) for name, text in data["spectra_db"].items()},
            echoes=tuple(LiveEcho(**echo) for echo in data["echoes"]),
            health=_levels(data["health"]),
        )
    except (KeyError, TypeError, AttributeError, UnicodeDecodeError) as error:
        raise ValueError("not a message of the live feed") from error


class Publisher:
    """Sends messages to the pages on this computer, and forgets them."""

    def __init__(self, port: int) -> None:
        self._address = ("127.0.0.1", port)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setblocking(False)

    def send(self, message: LiveMessage) -> None:
        """Send a message; where nobody listens or the buffer is full it is dropped, which is meant."""
        try:
            self._socket.sendto(encode(message), self._address)
        except OSError:
            return

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()


def _numbers(levels: dict[str, float]) -> dict[str, float | None]:
    return {name: None if math.isnan(level) else round(float(level), 2) for name, level in levels.items()}


def _levels(numbers: dict[str, float | None]) -> dict[str, float]:
    return {name: math.nan if level is None else float(level) for name, level in numbers.items()}


def _packed(levels_db: NDArray[np.float32]) -> str:
    steps = np.clip(np.round((np.nan_to_num(levels_db, nan=-10.0) + 10.0) * 4), 0, 255)
    return base64.b64encode(steps.astype(np.uint8).tobytes()).decode()


def _unpacked(text: str) -> NDArray[np.float32]:
    steps = np.frombuffer(base64.b64decode(text), dtype=np.uint8)
    return (steps / np.float32(4.0) - np.float32(10.0)).astype(np.float32)
