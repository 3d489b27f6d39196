"""Files of levels: read, refused line by line, written and read back."""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.errors import RequestError
from skyglint.horizon.levels import USUAL_SD_DB, Level, parse_levels, read_levels, write_levels

HEAD = "start_utc,frequency_hz,level_dbm,level_sd_db,transmitter,limit\n"
GOOD = "2026-08-13T02:00:00Z,98300000,-92.5,1.5,Nordhei,\n"


def parse(text):
    return parse_levels(io.StringIO(text), "levels.csv")


def test_a_row_is_read():
    (level,) = parse(HEAD + GOOD).levels
    assert level == Level(1786586400.0, 98.3e6, -92.5, 1.5, "Nordhei", False)


def test_columns_come_in_any_order_and_may_be_missing():
    (level,) = parse("Level_dBm, frequency_hz ,start_utc,remark\n-80,98.3e6,2026-08-13T04:00:00+02:00,windy\n").levels
    assert level == Level(1786586400.0, 98.3e6, -80.0, USUAL_SD_DB, "", False)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("yesterday,98300000,-92,1,a,", "line 3: 'yesterday' is not a UTC time"),
        ("2026-08-13T02:00:00,98300000,-92,1,a,", "states no offset"),
        ("2026-08-13T02:00:00Z,98.3,-92,1,a,", "frequency_hz is 98.3: expected a number from 1e+06 to 3e+10"),
        ("2026-08-13T02:00:00Z,98300000,loud,1,a,", "level_dbm is 'loud'"),
        ("2026-08-13T02:00:00Z,98300000,92,1,a,", "level_dbm is 92: expected a number from -220 to 40"),
        ("2026-08-13T02:00:00Z,98300000,nan,1,a,", "level_dbm is nan"),
        ("2026-08-13T02:00:00Z,98300000,-92,-1,a,", "level_sd_db is -1: expected a number from 0 to 60"),
        ("2026-08-13T02:00:00Z,98300000,-92,1,a,yes", "limit is 'yes': expected 1 for an upper limit"),
        ("2026-08-13T02:00:00Z,98300000", "level_dbm is ''"),
    ],
)
def test_a_bad_row_is_explained_and_the_rest_is_kept(row, said):
    found = parse(HEAD + GOOD + row + "\n")
    assert len(found.levels) == 1
    assert len(found.rejections) == 1
    assert said in found.rejections[0]
    assert found.rejections[0].startswith("levels.csv: line 3: ")


def test_what_cannot_be_used_at_all_is_refused(tmp_path):
    with pytest.raises(RequestError, match="header lacks level_dbm"):
        parse("start_utc,frequency_hz\n")
    with pytest.raises(RequestError, match="not one usable level"):
        parse(HEAD + "\n\n")
    with pytest.raises(RequestError, match="no such file of levels"):
        read_levels(tmp_path / "none.csv")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RequestError, match="not a text file in UTF-8"):
        read_levels(tmp_path / "bytes.csv")


NAMES = st.text(st.characters(exclude_categories=("C", "Z")), max_size=20)


@given(
    st.lists(
        st.builds(
            Level,
            st.integers(0, 4_000_000_000).map(float),
            st.integers(88_000_000, 108_000_000).map(float),
            st.integers(-1500, 0).map(lambda tenths: tenths / 10),
            st.integers(0, 200).map(lambda tenths: tenths / 10),
            NAMES,
            st.booleans(),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_what_is_written_is_read_back(levels):
    assert list(parse(write_levels(levels)).levels) == levels


@given(st.text(max_size=200))
def test_no_text_breaks_the_reader(text):
    try:
        found = parse(HEAD + text)
    except RequestError:
        return
    assert found.levels
