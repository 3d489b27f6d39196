"""The pages as text, without a server."""

import re
import shutil

import httpx
import numpy as np
import pytest

from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.sigmf_writer import SigMFWriter

NIGHT = "2026-08-12"


@pytest.fixture(scope="module")
def addresses() -> list[str]:
    return [
        "/",
        "/overlay",
        "/overlay?channel=quiet",
        "/nights",
        "/nights?month=2026-08",
        "/nights?month=2020-01",
        f"/nights/{NIGHT}",
        f"/nights/{NIGHT}/channels",
        "/echoes/1",
        "/review",
        "/review?echo=2",
        "/review?after=2",
        "/operator",
        "/data",
        "/live/tonight",
    ]


def test_every_page_is_there_and_every_link_leads_somewhere(client, addresses):
    links = set()
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert answer.headers["content-type"] == "text/html; charset=utf-8"
        links.update(re.findall(r'(?:href|src)="(/[^"#]*)', answer.text))
    kept = {link for link in links if not link.startswith("/echoes/")} | set(sorted(links)[:40])
    for link in kept - {"/api/v1/live"}:
        assert client.get(link.replace("&amp;", "&")).status_code == 200, link


def test_nothing_from_outside_is_taken_for_markup(client, addresses):
    for address in addresses:
        text = client.get(address).text
        assert "beacon <b>" not in text
        assert "<i>& so on" not in text


def test_no_script_or_style_stands_in_a_page(client, addresses):
    for address in addresses:
        text = client.get(address).text
        assert not re.search(r"<style|\son[a-z]+=|javascript:", text), address
        assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text)), address
        assert not re.search(r'(?:href|src)="(?:https?:)?//', text), address


def test_the_place_is_rounded_unless_the_operator_says_otherwise(
    station, tmp_path, client, addresses, context_for, client_of
):
    everything = "".join(
        client.get(address).text for address in [*addresses, "/api/v1/station", "/metrics", "/healthz"]
    )
    assert "54.612" not in everything
    assert "2.934" not in everything
    assert "54.6° N, 2.9° W" in everything
    exact = tmp_path / "site.toml"
    exact.write_text(station.read_text().replace("[[channel]]", "[pages]\nexact_place = true\n\n[[channel]]", 1))
    with client_of(context_for(exact)) as other:
        place = other.get("/api/v1/station").json()["place"]
        assert place == {"latitude_deg": 54.6123, "longitude_deg": -2.9345, "rounded_to_deg": 0.0001}
        assert "54.6123" in other.get("/").text


def test_before_anything_was_recorded_the_pages_explain_themselves(station, tmp_path, context_for, client_of):
    site = tmp_path / "site.toml"
    shutil.copy(station, site)
    with client_of(context_for(site)) as client:
        live = client.get("/")
        assert live.status_code == 200
        assert "Nothing has been heard from the engine yet" in live.text
        assert "Nothing has been found in the night of 2026-08-12 yet" in live.text
        assert "No night has been recorded yet" in client.get("/nights").text
        assert "Nothing waits" in client.get("/review").text
        missing = client.get("/echoes/1")
        assert missing.status_code == 404
        assert "Nothing has been recorded yet" in missing.text
        assert client.get("/api/v1/echoes").json() == {"rows": [], "next_offset": None}
        assert client.get("/api/v1/nights").json() == {"nights": []}
        assert client.get("/healthz").json()["faults"] == ["the engine does not speak", "nothing has been recorded yet"]


def test_a_spoilt_database_is_explained_and_is_no_crash(station, tmp_path, context_for, client_of):
    shutil.copy(station, tmp_path / "site.toml")
    (tmp_path / "station.db").write_bytes(b"SQLite format 3\0" + bytes(5000))
    with client_of(context_for(tmp_path / "site.toml")) as client:
        for address in ("/", "/nights", "/echoes/1", "/review", "/api/v1/echoes"):
            answer = client.get(address)
            assert answer.status_code == 503, address
            assert str(tmp_path) not in answer.text
        assert client.get("/metrics").status_code == 200


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/nowhere", 404),
        ("/echoes/0", 422),
        ("/echoes/99999", 404),
        ("/echoes/one", 422),
        (f"/echoes/{2**70}", 422),
        ("/nights/2026-08-01", 404),
        ("/nights/2026-02-30", 422),
        ("/nights?month=2026-13", 422),
        ("/overlay?channel=nobody", 404),
        ("/live/echo?channel=nobody&start_unix=1", 404),
        ("/live/echo?channel=quiet&start_unix=nan", 422),
        ("/live/echo?channel=quiet&start_unix=1", 404),
        ("/review?echo=99999", 404),
        ("/echoes/1/snippet.sigmf-meta", 404),
        ("/echoes/1/sound.wav", 404),
    ],
)
def test_what_is_not_there_is_a_page_that_says_so(client, address, status):
    answer = client.get(address)
    assert answer.status_code == status
    assert f"Status {status}" in answer.text
    assert answer.headers["content-type"].startswith("text/html")


def test_a_mark_leads_to_its_echo(client):
    row = client.get("/api/v1/echoes?channel=north-sea").json()["rows"][-1]
    answer = client.get("/live/echo", params={"channel": "north-sea", "start_unix": _unix(row["start_utc"]) + 0.2})
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/echoes/{row['id']}"


def _unix(utc: str) -> float:
    return float(np.datetime64(utc.removesuffix("Z")).astype("datetime64[ms]").astype(np.int64)) / 1000.0


def test_the_lane_that_ends_an_echo_shows_its_fit(client):
    row = client.get("/api/v1/echoes", params={"channel": "north-sea", "class": "underdense"}).json()["rows"][0]
    text = client.get(f"/echoes/{row['id']}").text
    assert 'class="model"' in text
    assert f"{row['peak_snr_db']:.1f}\u202fdB" in text
    other = client.get("/api/v1/echoes", params={"channel": "north-sea", "class": "overdense"}).json()["rows"][0]
    assert 'class="model"' not in client.get(f"/echoes/{other['id']}").text


@pytest.fixture
def with_samples(station, tmp_path, context_for):
    """A station that kept the samples of one echo of an FM channel and one of a carrier."""
    for name in ("site.toml", "station.db"):
        shutil.copy(station.parent / name, tmp_path / name)
    context = context_for(tmp_path / "site.toml")
    (tmp_path / "snippets").mkdir()
    kept = {}
    with context.archive.reading() as store:
        for name in ("north-sea", "beacon <b>"):
            entry = store.echoes(channels=[name])[-1]
            kept[name] = entry.id
            start = entry.echo.start_unix - 0.5
            stamp = np.datetime64(round(start * 100) * 10, "ms").astype(str)[:-1].replace("-", "").replace(":", "")
            safe = "beacon-b-" if name != "north-sea" else name
            encoding = ENCODINGS["cu8"]
            with SigMFWriter(tmp_path / "snippets" / f"{stamp}Z_14dB_{safe}", encoding, 1_200_000.0) as writer:
                writer.capture(start, 98e6)
                writer.write(np.random.default_rng(3).integers(0, 255, 600_000).astype(np.uint8))
    return context, kept


def test_samples_and_sound_of_an_echo(with_samples, client_of):
    context, kept = with_samples
    with client_of(context) as client:
        for number in kept.values():
            page = client.get(f"/echoes/{number}").text
            assert f"/echoes/{number}/sound.wav" in page
            sound = client.get(f"/echoes/{number}/sound.wav")
            assert sound.headers["content-type"] == "audio/wav"
            assert sound.content[:4] == b"RIFF"
            meta = client.get(f"/echoes/{number}/snippet.sigmf-meta")
            assert meta.json()["global"]["core:datatype"] == "cu8"
            assert "attachment" in meta.headers["content-disposition"]
            data = client.get(f"/echoes/{number}/snippet.sigmf-data")
            assert len(data.content) == 600_000
        assert client.get(f"/echoes/{number}/snippet.sigmf-site").status_code == 404


def test_the_clock_has_a_hand_and_the_still_an_axis(client):
    text = client.get("/").text
    assert text.count('class="hand"') == 1
    axis = re.search(r'live-axis"><div>(.*?)</div>', text)[1]
    # The clock of these tests stands at 03:31:07 UTC.
    assert re.findall(r">([^<]+)</span>", axis) == ["03:22", "03:24", "03:26", "03:28", "03:30", "now"]


def test_metrics_and_health_follow_the_engine(context, client, message):
    assert client.get("/healthz").status_code == 503
    context.hub.publish(message(context.clock(), ["north-sea"]))
    health: httpx.Response = client.get("/healthz")
    assert (health.status_code, health.json()["status"]) == (200, "good")
    told = message(context.clock(), ["north-sea"])
    told.health["database_unwritable"] = 1.0
    context.hub.publish(told)
    health = client.get("/healthz")
    assert (health.status_code, health.json()["faults"]) == (503, ["the database cannot be written"])
    text = client.get("/metrics").text
    assert "skyglint_engine_backlog_share 0.01" in text
    assert 'skyglint_state{state="watching"} 1.0' in text
    assert 'skyglint_floor_decibels{channel="north-sea"} -52.0' in text
    assert re.search(r'skyglint_night_echoes\{channel="north-sea",role="target"\} \d+', text)


def test_problems_are_told_in_sentences(client):
    missing = client.get("/nowhere").text
    assert "<span>not found</span>" in missing
    assert "There is nothing at this address." in missing
    assert "<span>not understood</span>" in client.get("/nights/2026-13-99").text
    assert client.get("/api/v1/nowhere").json()["error"]["message"] == "there is nothing at this address"


def test_what_was_too_weak_for_samples_is_told_in_the_unit_of_its_kind(client):
    units = set()
    for number in range(1, 40):
        text = client.get(f"/echoes/{number}").text
        units |= set(re.findall("weaker than ([0-9]+.dB(?:-Hz)?),", text))
    assert {unit.replace("\u202f", " ") for unit in units} == {"10 dB", "30 dB-Hz"}
