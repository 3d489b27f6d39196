from skyglint.cli.scan_words import in_words
from skyglint.station.scan import Scanned


def scanned(**watched_s):
    mean_s = sum(watched_s.values()) / len(watched_s)
    return Scanned("night", 0.0, 600.0, mean_s, 600.0 - mean_s, watched_s, {}, {}, 0.0)


def test_channels_that_were_watched_alike_are_told_as_one(tmp_path):
    (line, _) = in_words([scanned(far=599.5, near=599.5)], tmp_path)
    assert line == "night: 0 echoes; watched 599.5 s of 600.0 s from 1970-01-01T00:00:00Z."


def test_a_channel_outside_the_band_is_named_and_not_averaged_in(tmp_path):
    lines = in_words([scanned(far=600.0, near=0.0, gone=200.0)], tmp_path)
    assert lines[0].startswith("night: 0 echoes; watched 0.0 to 600.0 s by channel of 600.0 s")
    assert lines[1:3] == ["  near: not watched", "  gone: watched 200.0 s"]
