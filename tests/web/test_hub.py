import asyncio
import json

import pytest

from skyglint.station.live import LiveEcho
from skyglint.web.hub import MOST_FROM_ONE, MOST_VIEWERS, MOST_WAITING, Hub

NOW = 1786591867.2  # 2026-08-13T03:31:07.2Z
NAMES = ("north-sea", "quiet")


def events(chunk: bytes) -> list[tuple[str, dict]]:
    """Parse server-sent events as the HTML Standard has it, sec. 9.2.6."""
    found = []
    for block in chunk.decode().split("\n\n"):
        fields = [line.split(": ", 1) for line in block.splitlines() if line and not line.startswith(":")]
        kinds = dict(fields)
        if "event" in kinds:
            found.append((kinds["event"], json.loads(kinds["data"])))
    return found


async def hear(viewer) -> list[tuple[str, dict]]:
    return events(await viewer.next())


def test_everyone_hears_everything_in_order(message):
    async def scene():
        hub = Hub()
        viewers = [hub.join() for _ in range(3)]
        echo = LiveEcho("north-sea", NOW - 1.0, 0.42, 12.34, "underdense")
        hub.publish(message(NOW, NAMES, 3.0))
        hub.publish(message(NOW + 0.1, NAMES, 4.0, (echo,)))
        return [await hear(viewer) for viewer in viewers]

    heard = asyncio.run(scene())
    assert heard[0] == heard[1] == heard[2]
    assert [name for name, _ in heard[0]] == ["station", "reading", "reading", "echo"]
    assert heard[0][1][1]["power_db"] == {"north-sea": 3.0, "quiet": 3.0}
    assert heard[0][3][1] == {
        "channel": "north-sea",
        "start_utc": "2026-08-13T03:31:06.200Z",
        "start_unix": NOW - 1.0,
        "duration_s": 0.42,
        "peak_snr_db": 12.3,
        "class": "underdense",
    }


def test_a_late_viewer_hears_the_state_first(message):
    async def scene():
        hub = Hub()
        hub.publish(message(NOW, NAMES))
        return await hear(hub.join())

    assert [name for name, _ in asyncio.run(scene())] == ["station"]


def test_spectra_go_only_to_who_asked(message):
    async def scene():
        hub = Hub()
        plain, curious = hub.join(), hub.join(["quiet"])
        hub.publish(message(NOW, NAMES))
        return await hear(plain), await hear(curious)

    plain, curious = asyncio.run(scene())
    assert [name for name, _ in plain] == ["station", "reading"]
    assert [(name, data.get("channel")) for name, data in curious][2:] == [("spectrum", "quiet")]


def test_who_does_not_read_is_dropped_and_nobody_else(message):
    async def scene():
        hub = Hub()
        reader, sleeper = hub.join(), hub.join()
        for index in range(3 * MOST_WAITING):
            hub.publish(message(NOW + index / 10, NAMES))
            assert len(await hear(reader)) >= 1
        return hub.viewers, hub.dropped, sleeper.dropped, await sleeper.next(), reader.dropped

    assert asyncio.run(scene()) == (1, 1, True, b"", False)


def test_the_room_is_bounded():
    async def scene():
        hub = Hub()
        joined = [hub.join() for _ in range(MOST_VIEWERS)]
        refused = hub.join()
        hub.leave(joined[0])
        return refused, hub.join() is not None

    assert asyncio.run(scene()) == (None, True)


def test_one_address_cannot_take_the_room():
    async def scene():
        hub = Hub()
        joined = [hub.join(address="203.0.113.7") for _ in range(MOST_FROM_ONE)]
        return all(joined), hub.join(address="203.0.113.7"), hub.join(address="203.0.113.8"), hub.join()

    everyone, refused, other, local = asyncio.run(scene())
    assert everyone
    assert refused is None
    assert other
    assert local


def test_silence_brings_a_sign_of_life_and_closing_ends_the_stream(monkeypatch):
    monkeypatch.setattr("skyglint.web.hub.SILENCE_S", 0.01)

    async def scene():
        hub = Hub()
        viewer = hub.join()
        await viewer.next()
        alive = asyncio.create_task(hub.keep_alive())
        sign = await viewer.next()
        alive.cancel()
        hub.close()
        return sign, await viewer.next()

    sign, end = asyncio.run(scene())
    assert sign.startswith(b":")
    assert end == b""


def test_numbers_that_are_not_known_are_null(message):
    async def scene():
        hub = Hub()
        viewer = hub.join()
        hub.publish(message(NOW, NAMES, float("nan"), (LiveEcho("quiet", NOW, 0.1, float("nan"), "unknown"),)))
        return await hear(viewer)

    heard = dict(asyncio.run(scene()))
    assert heard["reading"]["power_db"] == {"north-sea": None, "quiet": None}
    assert heard["echo"]["peak_snr_db"] is None


@pytest.mark.parametrize("text", ["two\nlines", "carriage\rreturn", "end\n\nevent: reading\ndata: {}"])
def test_no_text_can_forge_an_event(message, text):
    async def scene():
        hub = Hub()
        viewer = hub.join()
        hub.publish(message(NOW, (text,)))
        return await hear(viewer)

    heard = asyncio.run(scene())
    assert [name for name, _ in heard] == ["station", "reading"]
    assert list(heard[1][1]["power_db"]) == [text]
