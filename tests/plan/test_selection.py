"""The proposed set on the invented list, and the site file that it becomes."""

import tomllib
from dataclasses import replace
from itertools import pairwise

import pytest

from skyglint.errors import RequestError
from skyglint.plan.channels import channel_blocks, load_planning_site, with_channels
from skyglint.plan.planning import make_plan
from skyglint.plan.rows import TOLERANCE_DEG, best_row_bearing, row
from skyglint.plan.selection import propose
from skyglint.plan.settings import PlanSettings
from skyglint.site import parse_site
from skyglint.transmitters.transmitter import Transmitter


def parts(proposal, part):
    return [channel for channel in proposal.channels if channel.part == part]


def test_the_set_fits_one_aim_and_one_span(plan, proposal):
    targets = parts(proposal, "target")
    bearings = {one.name: one.bearing_deg for one in plan.candidates}
    assert len(targets) == 3
    assert all(abs(bearings[t.transmitter.name] - proposal.aim.azimuth_deg) < 50 for t in targets)
    half = plan.site.receiver.sample_rate_hz / 2
    offsets = [abs(channel.frequency_hz - proposal.center_frequency_hz) for channel in proposal.channels]
    assert max(offsets) < half - 99e3
    # The centre spike stands clear of every channel 200 kHz wide.
    assert min(offsets) > 100e3


def test_guard_reference_and_control_are_what_they_say(plan, proposal):
    (guard,), (reference,), (control,) = (parts(proposal, p) for p in ("guard", "reference", "control"))
    taken = {one.frequency_hz for one in plan.survey.transmitters}
    assert guard.frequency_hz not in taken
    assert reference.transmitter.name == "Harrow Town"
    bearing = next(one.bearing_deg for one in plan.candidates if one.name == control.transmitter.name)
    assert abs((bearing - proposal.aim.azimuth_deg + 180) % 360 - 180) >= 75
    assert (
        min(abs(a.frequency_hz - b.frequency_hz) for a in proposal.channels for b in proposal.channels if a is not b)
        > 199e3
    )


def test_the_images_of_strong_stations_fall_beside_the_channels(proposal):
    image = 2 * proposal.center_frequency_hz - parts(proposal, "reference")[0].frequency_hz
    assert min(abs(channel.frequency_hz - image) for channel in proposal.channels) > 100e3


def test_a_lone_station_makes_a_set_that_says_what_it_lacks(site):
    one = Transmitter("Mossgate", 98.3e6, "fm", 58.72, 6.05, 60_000.0, 0.0, height_m=720.0)
    proposal = propose(make_plan(site, [one], PlanSettings()))
    assert [channel.part for channel in proposal.channels] == ["target", "guard"]
    assert any("reference" in warning for warning in proposal.warnings)
    assert any("control" in warning for warning in proposal.warnings)
    assert propose(make_plan(site, [], PlanSettings())) is None


def test_carriers_make_a_set_of_their_own(site_text):
    # A receiver for 50 MHz with a narrow span: two tones 120 kHz apart, and a guard between carriers.
    text = site_text.replace("98_000_000 ", "50_000_000 ").replace("2_400_000", "250_000")
    tones = [
        Transmitter(f"Tone {k}", 50e6 + k * 120e3, "carrier", 56.5, 4.0 + k, 2_000.0, 0.0, height_m=100.0)
        for k in (0, 1)
    ]
    proposal = propose(make_plan(parse_site(text), tones, PlanSettings()))
    assert [(c.part, c.kind) for c in proposal.channels] == [("target", "carrier")] * 2 + [("guard", "carrier")]
    written = parse_site(with_channels(text, proposal, "x"))
    assert all(abs(c.frequency_hz - written.receiver.center_frequency_hz) < 125e3 for c in written.channel)


def test_a_span_too_narrow_for_fm_is_said(site_text):
    one = Transmitter("Mossgate", 98.3e6, "fm", 58.72, 6.05, 60_000.0, 0.0, height_m=720.0)
    other = Transmitter("Second", 98.5e6, "fm", 58.72, 6.05, 60_000.0, 0.0, height_m=720.0)
    site = parse_site(site_text.replace("2_400_000", "96_000"))
    proposal = propose(make_plan(site, [one, other], PlanSettings()))
    assert [channel.part for channel in proposal.channels] == ["target"]
    assert any("narrower than the channel" in warning for warning in proposal.warnings)


def test_a_strong_local_is_warned_of(site):
    one = Transmitter("Mossgate", 98.3e6, "fm", 58.72, 6.05, 60_000.0, 0.0, height_m=720.0)
    local = Transmitter("Loud", 97.6e6, "fm", 54.62, -2.90, 50_000.0, 0.0, height_m=400.0)
    proposal = propose(make_plan(site, [one, local], PlanSettings()))
    assert any("Loud" in warning and "less gain" in warning for warning in proposal.warnings)


def test_written_site_file_is_read_again_and_keeps_what_was_there(site_text, proposal):
    written = with_channels(site_text, proposal, "site.toml")
    site = parse_site(written)
    assert written.startswith("# A comment worth keeping.")
    assert "# the middle" in written
    assert site.receiver.center_frequency_hz == proposal.center_frequency_hz
    assert len(site.channel) == len(proposal.channels)
    assert {channel.role for channel in site.channel} == {"target", "guard", "reference"}
    assert "old" not in {channel.name for channel in site.channel}
    # Written twice it stays the same.
    assert with_channels(written, proposal, "site.toml") == written


def test_names_are_escaped_and_distinct(proposal):
    odd = replace(proposal.channels[0].transmitter, name='Ab"c\n\\ ÄÖ')
    channels = tuple(replace(channel, transmitter=odd) for channel in proposal.channels[:2])
    blocks = tomllib.loads(channel_blocks(replace(proposal, channels=channels)))
    assert [channel["name"] for channel in blocks["channel"]] == ["ab-c-ao", "ab-c-ao-2"]


def test_a_code_by_call_letters_is_only_a_hint(proposal):
    # NRSC-4-B Annex D: KQZX is 3CE1; a translator's call has no code.
    one = replace(proposal.channels[0].transmitter, name="KQZX-FM", country="US", rds_pi="")
    blocks = channel_blocks(replace(proposal, channels=(replace(proposal.channels[0], transmitter=one),)))
    assert '# rds_pi = "3CE1"' in blocks
    assert "rds_pi" not in tomllib.loads(blocks)["channel"][0]
    other = replace(one, name="K203BT")
    assert "rds_pi" not in channel_blocks(
        replace(proposal, channels=(replace(proposal.channels[0], transmitter=other),))
    )


def test_a_file_that_cannot_be_written_into_is_left_alone(site_text, proposal):
    with pytest.raises(RequestError, match="another table follows"):
        with_channels(site_text + "\n[site2]\nx = 1\n", proposal, "site.toml")
    with pytest.raises(RequestError, match="center_frequency_hz"):
        with_channels(site_text.replace("center_frequency_hz", "centre"), proposal, "site.toml")


def test_a_site_without_channels_can_be_planned_for(site_text, tmp_path, proposal):
    bare = tmp_path / "site.toml"
    bare.write_text(site_text.split("[[channel]]")[0], encoding="utf-8")
    assert load_planning_site(bare).site.name == "Harrow Fell"
    assert len(parse_site(with_channels(bare.read_text(encoding="utf-8"), proposal, "x")).channel) == 6
    with pytest.raises(RequestError, match="no such site file"):
        load_planning_site(tmp_path / "none.toml")
    bare.write_text("latitude = 3", encoding="utf-8")
    with pytest.raises(RequestError, match=r"\[site\]"):
        load_planning_site(bare)


def test_a_row_runs_outwards_along_its_bearing(plan):
    bearing = best_row_bearing(plan.candidates)
    members = row(plan, bearing)
    assert len(members) >= 3
    for member in members:
        assert abs((member.candidate.bearing_deg - bearing + 180) % 360 - 180) <= TOLERANCE_DEG
        # The stretch lies between the site and the transmitter, around the middle for far ones.
        assert -200 < member.near_km < member.far_km < member.candidate.distance_km + 50
    for before, after in pairwise(members):
        assert after.gap_km == pytest.approx(after.near_km - before.far_km)
    assert row(plan, (bearing + 180) % 360) != members
