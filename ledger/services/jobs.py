"""Rows that show how far background work is."""

from __future__ import annotations

from uuid import UUID

from django.db import connection

_WATCH = """
    INSERT INTO ledger_job
           (id, firm_id, kind, key, state, done, total, message, started_at, finished_at)
    VALUES (gen_random_uuid(), %(firm)s, %(kind)s, %(key)s, %(state)s, %(done)s, %(total)s,
            %(message)s,
            CASE WHEN %(state)s <> 'queued' THEN clock_timestamp() END,
            CASE WHEN %(state)s IN ('done', 'failed') THEN clock_timestamp() END)
    ON CONFLICT (firm_id, kind, key) DO UPDATE
       SET state = EXCLUDED.state, done = EXCLUDED.done, total = EXCLUDED.total,
           message = EXCLUDED.message,
           started_at = CASE WHEN EXCLUDED.state = 'queued' THEN NULL
                             ELSE coalesce(ledger_job.started_at, EXCLUDED.started_at) END,
           finished_at = CASE WHEN EXCLUDED.state NOT IN ('done', 'failed') THEN NULL
                              ELSE coalesce(ledger_job.finished_at, EXCLUDED.finished_at) END
"""


def watch(
    *, firm_id: UUID, kind: str, key: str, state: str, done: int, total: int, message: str = ""
) -> None:
    """Show the work `key` of a kind at `done` of `total`, in `state`.

    Within the caller's firm scope. The first call makes the row, later ones
    move it; the same call twice leaves the same row.
    """
    assert 0 <= done <= total, "progress lies between nothing and all"
    with connection.cursor() as cursor:
        cursor.execute(
            _WATCH,
            {
                "firm": firm_id,
                "kind": kind,
                "key": key,
                "state": state,
                "done": done,
                "total": total,
                "message": message,
            },
        )
