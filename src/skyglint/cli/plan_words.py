"""The plan on a terminal: a ranked table that fits into 80 columns, the proposed set, the cautions."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from skyglint.plan import notes
from skyglint.plan.planning import Plan
from skyglint.plan.proposal import Proposal
from skyglint.plan.rows import best_row_bearing, row

_STYLE = {"silent": "green", "rustles": "", "heard": "red"}


def show(
    plan: Plan, proposal: Proposal | None, lists: tuple[str, ...], rows: int, row_bearing_deg: float | None
) -> None:
    """Print the plan."""
    console = Console(highlight=False)
    for sentence in lists:
        console.print(Text(sentence, style="dim"))
    note = notes.ground_note(plan.site.site.height_m, plan.settings.surface_height_m)
    if note:
        console.print(Text(note))
    if not plan.candidates:
        console.print(
            f"No transmitter on the air lies within {plan.settings.radius_km:.0f} km. Is the list of the right "
            "country, and the site's longitude of the right sign?"
        )
        return
    console.print(_table(plan, rows))
    for rank, one in enumerate(plan.candidates[: min(3, rows)], start=1):
        console.print(Text.assemble((f"{rank}. {one.name}: ", "bold"), "; ".join(one.reasons) + "."))
    if proposal is None:
        console.print("No set to propose: no candidate has an own echo a day to offer.")
    else:
        _show_set(console, proposal)
    _show_row(console, plan, best_row_bearing(plan.candidates) if row_bearing_deg is None else row_bearing_deg)
    console.print(Text(notes.ACCURACY, style="dim"))
    console.print(Text("Before you build: " + notes.SAFETY[0], style="dim"))
    console.print(Text("Lightning, masts and roofs: see the page (--to); local codes decide.", style="dim"))


def _table(plan: Plan, rows: int) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    for title, right in (
        ("#", True), ("station", False), ("MHz", True), ("km", True), ("at", True), ("hidden", True),
        ("direct", False), ("own", True), ("/h", True), ("best h", True), ("aim", True),
    ):  # fmt: skip
        table.add_column(title, justify="right" if right else "left", no_wrap=True, overflow="ellipsis")
    for rank, one in enumerate(plan.candidates[:rows], start=1):
        hidden = f"{one.hidden_m / 1e3:.1f} km" if one.hidden_m > 0 else "no"
        table.add_row(
            str(rank), Text(one.name, overflow="ellipsis"), f"{one.frequency_hz / 1e6:g}", f"{one.distance_km:.0f}",
            f"{one.bearing_deg:.0f}°", hidden, one.verdict, f"{100 * one.share_of_echoes:.0f}%",
            f"{one.echoes_per_h.mean():.0f}", f"{int(one.echoes_per_h.argmax())}",
            f"{one.aim.azimuth_deg:.0f}°/{one.aim.elevation_deg:.0f}°", style=_STYLE[one.verdict],
        )  # fmt: skip
    table.columns[1].max_width = 16
    return table


def _show_set(console: Console, proposal: Proposal) -> None:
    console.print()
    console.print(
        Text(
            f"Proposed set: point to {proposal.aim.azimuth_deg:.0f}° from true north, "
            f"{proposal.aim.elevation_deg:.0f}° up; tune to {proposal.center_frequency_hz / 1e6:g} MHz; "
            f"about {proposal.echoes_per_h:.0f} echoes an hour.",
            style="bold",
        )
    )
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    for channel in proposal.channels:
        name = channel.transmitter.name if channel.transmitter else ""
        table.add_row(channel.part, f"{channel.frequency_hz / 1e6:g} MHz", Text(name), Text(channel.reason))
    console.print(table)
    for warning in proposal.warnings:
        console.print(Text(f"Note: {warning}."))
    console.print()


def _show_row(console: Console, plan: Plan, bearing_deg: float) -> None:
    members = row(plan, bearing_deg)
    if len(members) < 2:
        return
    title = f"A row along {bearing_deg:.0f}°: the stretch of the layer that each lights, km from here."
    console.print(Text(title, style="bold"))
    for member in members:
        gap = member.gap_km
        beside = "" if gap != gap else f"{gap:.0f} km gap" if gap >= 0 else f"overlaps by {-gap:.0f} km"
        name = Text(f"{member.candidate.name:24.24}", end="")
        console.print(name, Text(f"{member.near_km:5.0f} to {member.far_km:5.0f}  {beside}"))
    console.print()
