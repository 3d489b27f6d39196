import shutil

import pytest

from skyglint.errors import StoreError
from skyglint.store import Verdict
from skyglint.web.archive import Archive, NothingYet

NOW = 1786591867.2


def test_a_database_that_is_not_there_yet(tmp_path):
    archive = Archive(tmp_path / "station.db", "Harrow Fell")
    with pytest.raises(NothingYet, match="nothing has been recorded yet"), archive.reading():
        pass


def test_nothing_of_this_site(station):
    archive = Archive(station.parent / "station.db", "Elsewhere")
    with pytest.raises(NothingYet, match="of this site"), archive.reading():
        pass


def test_a_file_that_is_no_database(tmp_path):
    path = tmp_path / "station.db"
    path.write_text("not a database at all, only words" * 100)
    with pytest.raises(StoreError), Archive(path, "Harrow Fell").reading():
        pass


def test_a_database_that_is_replaced_under_way(station, tmp_path, build_station):
    archive = Archive(tmp_path / "station.db", "Harrow Fell")
    shutil.copy(station.parent / "station.db", tmp_path / "station.db")
    with archive.reading() as store:
        before = len(store.echoes())
    (tmp_path / "station.db").unlink()
    build_station(tmp_path, NOW, nights=1, echoes=2)
    with archive.reading() as store:
        assert 0 < len(store.echoes()) < before
    archive.close()


def test_a_verdict_is_stored_and_taken_back(station, tmp_path):
    shutil.copy(station.parent / "station.db", tmp_path / "station.db")
    archive = Archive(tmp_path / "station.db", "Harrow Fell")
    with archive.reading() as store:
        number = store.echoes()[0].id
        archive.give_verdict(number, Verdict("aircraft", "operator", "slow", NOW))
        assert store.echo(number).echo_class == "aircraft"
        archive.give_verdict(number, None)
        assert store.echo(number).verdict is None
    archive.close()
