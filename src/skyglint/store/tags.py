"""Tags of echoes: put on as they are found or afterwards, and kept when a recording is scanned again."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

import sqlalchemy as sa

from skyglint.store.records import Tag
from skyglint.store.schema import channels, echoes, recordings, runs, tags

_END = echoes.c.start_unix + echoes.c.duration_s


@dataclass(frozen=True, slots=True)
class KeptTag:
    """A tag whose echo is about to be replaced, with the channel and the span that it was given for."""

    channel: str
    start_unix: float
    end_unix: float
    tag: Tag


def tag_echo(connection: sa.Connection, echo_id: int, tag: Tag) -> None:
    """Put a tag on an echo, in place of one of the same kind and name."""
    _drop(connection, [echo_id], tag.kind, [tag.name])
    connection.execute(tags.insert().values(echo_id=echo_id, kind=tag.kind, name=tag.name, details=tag.details))


def retag(
    connection: sa.Connection,
    echo_ids: Collection[int],
    kind: str,
    names: Collection[str],
    found: Iterable[tuple[int, Tag]],
) -> None:
    """Replace all tags of a kind and of some names on some echoes by those found now."""
    _drop(connection, echo_ids, kind, names)
    for echo_id, tag in found:
        tag_echo(connection, echo_id, tag)


def tags_of_earlier(connection: sa.Connection, run_id: int, fingerprint: str) -> list[KeptTag]:
    """Return the tags of an earlier scan, at a run's site, of the same recording."""
    site_name = sa.select(runs.c.site_name).where(runs.c.id == run_id).scalar_subquery()
    query = (
        sa.select(channels.c.name.label("channel"), echoes.c.start_unix, _END.label("end_unix"), tags)
        .join_from(tags, echoes)
        .join(channels, channels.c.id == echoes.c.channel_id)
        .join(recordings, recordings.c.id == echoes.c.recording_id)
        .where(recordings.c.site_name == site_name, recordings.c.fingerprint == fingerprint)
    )
    return [
        KeptTag(row["channel"], row["start_unix"], row["end_unix"], Tag(row["kind"], row["name"], row["details"]))
        for row in connection.execute(query).mappings()
    ]


def put_back(connection: sa.Connection, recording_id: int, kept: Iterable[KeptTag]) -> None:
    """Give each tag to the new echo that shares most of its span; what the new scan found itself stays."""
    for one in kept:
        echo = _successor(connection, recording_id, one)
        if echo is not None and not _has(connection, echo, one.tag):
            tag_echo(connection, echo, one.tag)


def _successor(connection: sa.Connection, recording_id: int, one: KeptTag) -> int | None:
    shared = sa.case((one.end_unix > _END, _END), else_=one.end_unix) - sa.case(
        (echoes.c.start_unix > one.start_unix, echoes.c.start_unix), else_=one.start_unix
    )
    found: int | None = connection.scalar(
        sa.select(echoes.c.id)
        .join_from(echoes, channels)
        .where(echoes.c.recording_id == recording_id, channels.c.name == one.channel, shared > 0)
        .order_by(shared.desc())
        .limit(1)
    )
    return found


def _has(connection: sa.Connection, echo_id: int, tag: Tag) -> bool:
    same = (tags.c.echo_id == echo_id) & (tags.c.kind == tag.kind) & (tags.c.name == tag.name)
    return bool(connection.scalar(sa.select(sa.func.count()).select_from(tags).where(same)))


def _drop(connection: sa.Connection, echo_ids: Collection[int], kind: str, names: Collection[str]) -> None:
    # By single numbers: a night has more echoes than a statement may have parameters.
    same = (tags.c.echo_id == sa.bindparam("number")) & (tags.c.kind == kind) & (tags.c.name == sa.bindparam("of"))
    rows = [{"number": number, "of": name} for number in echo_ids for name in names]
    if rows:
        connection.execute(tags.delete().where(same), rows)
