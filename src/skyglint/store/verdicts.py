"""The operator's verdicts: giving one, taking it back, and keeping it when a recording is scanned again."""

from __future__ import annotations

import sqlalchemy as sa

from skyglint.errors import RequestError
from skyglint.store.records import Verdict
from skyglint.store.schema import channels, echoes, verdicts

_END = echoes.c.start_unix + echoes.c.duration_s


def give_verdict(connection: sa.Connection, echo_id: int, verdict: Verdict | None) -> None:
    """Put the verdict beside the echo in place of any earlier one; None takes the earlier one back.

    Raises
    ------
    RequestError
        If there is no such echo.
    """
    echo = connection.execute(
        sa.select(echoes.c.channel_id, echoes.c.start_unix, _END.label("end_unix")).where(echoes.c.id == echo_id)
    ).one_or_none()
    if echo is None:
        raise RequestError(f"there is no echo {echo_id}")
    connection.execute(verdicts.delete().where(verdicts.c.echo_id == echo_id))
    if verdict is not None:
        connection.execute(
            verdicts.insert().values(
                channel_id=echo.channel_id,
                echo_id=echo_id,
                start_unix=echo.start_unix,
                end_unix=echo.end_unix,
                echo_class=verdict.echo_class,
                author=verdict.author,
                remark=verdict.remark,
                created_unix=verdict.created_unix,
            )
        )


def reattach_verdicts(connection: sa.Connection, recording_id: int) -> None:
    """Give verdicts whose echo was replaced to the new echo that shares most of the judged span.

    Channels are matched by site and name, because a scan with an edited site file makes new channels.
    """
    judged, found = channels.alias("judged"), channels.alias("found")
    shared = sa.case((verdicts.c.end_unix > _END, _END), else_=verdicts.c.end_unix) - sa.case(
        (echoes.c.start_unix > verdicts.c.start_unix, echoes.c.start_unix), else_=verdicts.c.start_unix
    )
    pairs = connection.execute(
        sa.select(verdicts.c.id, echoes.c.id.label("echo_id"), echoes.c.channel_id)
        .select_from(verdicts)
        .join(judged, judged.c.id == verdicts.c.channel_id)
        .join(found, (found.c.site_name == judged.c.site_name) & (found.c.name == judged.c.name))
        .join(echoes, echoes.c.channel_id == found.c.id)
        .where(verdicts.c.echo_id.is_(None), echoes.c.recording_id == recording_id, shared > 0)
        .order_by(shared.desc())
    ).all()
    placed: set[int] = set()
    taken: set[int] = set()
    for verdict_id, echo_id, channel_id in pairs:
        if verdict_id not in placed and echo_id not in taken:
            placed.add(verdict_id)
            taken.add(echo_id)
            connection.execute(
                verdicts.update().where(verdicts.c.id == verdict_id).values(echo_id=echo_id, channel_id=channel_id)
            )
