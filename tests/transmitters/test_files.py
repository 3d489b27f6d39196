"""Telling layouts apart, and the time that a large list takes."""

import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from skyglint.errors import RequestError
from skyglint.transmitters.files import read_list

DATA = Path(__file__).parents[1] / "data" / "transmitters"
OWN = "name,frequency_hz,kind,latitude_deg,longitude_deg,power_w\nMossgate,98300000,fm,58.72,6.05,60000\n"


def test_text_layouts_are_told_by_their_content(tmp_path):
    assert len(read_list(DATA / "fcc-text-2026.txt").transmitters) == 4
    own = tmp_path / "stations.txt"
    own.write_bytes(b"\xef\xbb\xbf" + OWN.encode())
    listing = read_list(own)
    assert listing.transmitters[0].name == "Mossgate"
    assert len(listing.transmitters[0].dated) == len("2026-01-01")


def test_windows_text_is_read(tmp_path):
    path = tmp_path / "old.csv"
    path.write_bytes(OWN.replace("Mossgate", "Gästehöhe").encode("cp1252"))
    assert read_list(path).transmitters[0].name == "Gästehöhe"


@pytest.mark.parametrize(
    ("content", "message"),
    [(b"", "known layout"), (b"\x00\x01\x02", "known layout"), (b"a,b,c\n1,2,3\n", "power_w")],
)
def test_other_files_are_refused_with_what_was_expected(tmp_path, content, message):
    path = tmp_path / "strange.csv"
    path.write_bytes(content)
    with pytest.raises(RequestError, match=message):
        read_list(path)


def test_missing_files_and_empty_archives(tmp_path):
    with pytest.raises(RequestError, match="no such transmitter list"):
        read_list(tmp_path / "none.csv")
    with zipfile.ZipFile(tmp_path / "tables.zip", "w") as archive:
        archive.writestr("facility.dat", "facility_id|^|\n")
    with pytest.raises(RequestError, match=r"lack application_facility\.dat"):
        read_list(tmp_path / "tables.zip")
    with pytest.raises(RequestError, match="known layout"):
        read_list(tmp_path)


def test_thirty_thousand_rows_load_in_seconds(tmp_path):
    row = (DATA / "fcc-text-2016.txt").read_text(encoding="utf-8").splitlines()[0]
    path = tmp_path / "large.txt"
    path.write_text("\n".join([row] * 30_000), encoding="utf-8")
    start = time.process_time()
    assert len(read_list(path).transmitters) == 30_000
    assert time.process_time() - start < 5


def refused_or_read(path):
    try:
        listing = read_list(path)
    except RequestError:
        return
    for one in listing.transmitters:
        assert one.erp_w > 0


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.binary(max_size=300), st.sampled_from([".csv", ".dbf", ".zip"]))
def test_no_bytes_break_the_readers(tmp_path, data, suffix):
    path = tmp_path / f"list{suffix}"
    for head in (b"", OWN.encode(), b"|WXXX |", b"\x03\x7e\x01\x01"):
        path.write_bytes(head + data)
        refused_or_read(path)


def test_a_damaged_archive_is_refused(tmp_path):
    path = tmp_path / "tables.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("fmstatio.dbf", bytes(range(256)) * 40)
    whole = path.read_bytes()
    path.write_bytes(whole[:60] + b"\xff" * 20 + whole[80:])
    with pytest.raises(RequestError, match=r"damaged|not a dBase"):
        read_list(path)
