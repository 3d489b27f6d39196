"""Keeping the pictures of echoes within bounds; the echoes themselves are never dropped."""

from __future__ import annotations

import json

import sqlalchemy as sa

from skyglint.store.schema import channels, echoes, snippets

#: Pictures dropped in one transaction, so that the engine never waits long for its turn.
BATCH = 500

_SIZE = sa.func.length(snippets.c.power) + sa.func.length(snippets.c.spectrogram) + sa.func.length(snippets.c.offsets)


def picture_bytes(connection: sa.Connection) -> int:
    """Return the bytes of all pictures."""
    return int(connection.execute(sa.select(sa.func.coalesce(sa.func.sum(_SIZE), 0))).scalar_one())


def drop_weakest(connection: sa.Connection, surplus_bytes: float, carrier_less_db: float) -> int:
    """Drop some of the weakest pictures of the older half, and return how many bytes that were.

    Parameters
    ----------
    connection
        In a transaction of its own.
    surplus_bytes
        How much is too much.
    carrier_less_db
        By how much a carrier's peak, which is referred to 1 Hz, is lowered before it is compared with others.
    """
    count = connection.execute(sa.select(sa.func.count()).select_from(snippets)).scalar_one()
    middle_unix = connection.execute(
        sa.select(snippets.c.start_unix).order_by(snippets.c.start_unix).offset(max(count - 1, 0) // 2).limit(1)
    ).scalar()
    declared = connection.execute(sa.select(channels.c.id, channels.c.declaration)).all()
    carriers = [row.id for row in declared if json.loads(row.declaration)["kind"] == "carrier"]
    strength = echoes.c.peak_snr_db - sa.case((echoes.c.channel_id.in_(carriers), carrier_less_db), else_=0.0)
    weakest = connection.execute(
        sa.select(snippets.c.echo_id, _SIZE)
        .join(echoes, echoes.c.id == snippets.c.echo_id)
        .where(snippets.c.start_unix <= middle_unix)
        .order_by(sa.func.coalesce(strength, -1000.0), snippets.c.start_unix)
        .limit(BATCH)
    ).all()
    dropped, freed = [], 0
    for echo_id, size in weakest:
        if freed >= surplus_bytes:
            break
        dropped.append(echo_id)
        freed += size
    connection.execute(snippets.delete().where(snippets.c.echo_id.in_(dropped)))
    return freed
