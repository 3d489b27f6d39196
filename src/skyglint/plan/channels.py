"""The proposed set as ``[[channel]]`` tables of a site file, everything else in the file kept as it is."""

from __future__ import annotations

import json
import re
import tomllib
import unicodedata
from pathlib import Path
from typing import Final

from skyglint.errors import RequestError
from skyglint.fm.pi_codes import code_of_call
from skyglint.plan.proposal import Part, Proposal, Proposed
from skyglint.site import Role, Site, load_site, parse_site
from skyglint.transmitters.transmitter import Transmitter

_ROLE: Final[dict[Part, Role]] = {
    "target": "target",
    "control": "target",
    "guard": "guard",
    "reference": "reference",
}
#: The first channel, with the comment that this module writes above it.
_CHANNEL = re.compile(r"(?:^# (?:target|control|guard|reference): .*\n)?^[ \t]*\[\[\s*channel\s*\]\]", re.MULTILINE)
_CENTER = re.compile(r"^(\s*center_frequency_hz\s*=\s*)[0-9_.eE+]+", re.MULTILINE)

#: Stands in while a site file that has no channel yet is checked: finding channels is what the planner is for.
_PLACEHOLDER = '\n[[channel]]\nname = "none yet"\nrole = "guard"\nkind = "fm"\nfrequency_hz = 98000000\n'


def load_planning_site(path: Path) -> Site:
    """Read a site file as :func:`skyglint.site.load_site` does, but let it have no channel yet.

    Raises
    ------
    RequestError, SiteFileError
        As there.
    """
    try:
        text = path.read_text(encoding="utf-8")
        if "channel" not in tomllib.loads(text):
            return parse_site(text + _PLACEHOLDER, str(path))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        pass  # load_site says what is wrong
    return load_site(path)


def with_channels(text: str, proposal: Proposal, name: str) -> str:
    """Return the text of a site file with its channels replaced by a proposed set and its tuning moved to it.

    Raises
    ------
    RequestError
        If tables follow the channels in the file, or it states no centre frequency: such a file is left to its owner.
    """
    first = _CHANNEL.search(text)
    head = text[: first.start()].rstrip() if first else text.rstrip()
    if first and re.search(r"^\s*\[(?!\[\s*channel)", text[first.start() :], re.MULTILINE):
        raise RequestError(f"{name}: another table follows the [[channel]] tables: put the channels last and try again")
    if not _CENTER.search(head):
        raise RequestError(f"{name}: [receiver] has no plain center_frequency_hz to replace")
    head = _CENTER.sub(lambda found: f"{found[1]}{proposal.center_frequency_hz:.0f}", head, count=1)
    whole = head + "\n\n" + channel_blocks(proposal)
    parse_site(whole, name)
    return whole


def channel_blocks(proposal: Proposal) -> str:
    """Return the proposed set as ``[[channel]]`` tables."""
    names: list[str] = []
    for channel in proposal.channels:
        names.append(_distinct(_slug(channel), names))
    blocks = [_block(channel, name) for channel, name in zip(proposal.channels, names, strict=True)]
    return "\n".join(blocks)


def _block(channel: Proposed, name: str) -> str:
    one = channel.transmitter
    lines = [f"# {channel.part}: {_one_line(channel.reason)}", "[[channel]]", f"name = {json.dumps(name)}"]
    lines.append(f'role = "{_ROLE[channel.part]}"')
    lines.append(f'kind = "{channel.kind}"')
    lines.append(f"frequency_hz = {channel.frequency_hz:.0f}")
    if one is not None:
        lines += [
            f"latitude_deg = {one.latitude_deg:.5f}",
            f"longitude_deg = {one.longitude_deg:.5f}",
            f"power_w = {one.erp_w:.6g}",
        ]
        if channel.height_m is not None:
            lines.append(f"height_m = {channel.height_m:.0f}")
        if one.rds_pi:
            lines.append(f'rds_pi = "{one.rds_pi}"')
        elif hint := _code_by_call(one):
            lines.append(f'# rds_pi = "{hint}"  # by the rule for call letters; many stations send another: check it')
    return "\n".join(lines) + "\n"


def _code_by_call(one: Transmitter) -> str:
    """Return the PI code that a US station's call letters stand for, empty where none does (NRSC-4-B Annex D)."""
    if one.kind != "fm" or one.country != "US":
        return ""
    try:
        return f"{code_of_call(one.name.split('-')[0]):04X}"
    except ValueError:
        return ""


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _slug(channel: Proposed) -> str:
    if channel.transmitter is None:
        return channel.part
    plain = unicodedata.normalize("NFKD", channel.transmitter.name).encode("ascii", "ignore").decode("ascii")
    words = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")
    return words[:60] or f"{channel.frequency_hz / 1e6:.1f}-mhz"


def _distinct(name: str, taken: list[str]) -> str:
    if name not in taken:
        return name
    return next(f"{name}-{k}" for k in range(2, len(taken) + 3) if f"{name}-{k}" not in taken)
