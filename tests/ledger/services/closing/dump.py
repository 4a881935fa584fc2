"""The canonical dump: what a firm's books say, without what only says how they got there.

SQL and hashing, and nothing of the product: rows of every table of a firm in
the order of their natural keys, without surrogate ids, attempts, fences,
leases and clocks. Two firms with the same books have the same dump.
"""

from __future__ import annotations

import hashlib
from uuid import UUID

import psycopg

# Tables whose rows refer to others are written with the natural keys of those.
QUERIES = {
    "ledger_monthclose": """
        SELECT month, state, completed_at IS NOT NULL FROM ledger_monthclose
         WHERE firm_id = %(firm)s ORDER BY month""",
    "ledger_householdmonth": """
        SELECT h.ref, m.month, m.version, m.state, m.reason, m.error, m.stale_reason,
               m.input_digest, m.engine, m.result_digest, m.result::text,
               m.lease_until IS NULL, m.superseded_at IS NULL, c.month
          FROM ledger_householdmonth m
          JOIN planning_household h ON h.id = m.household_id
          JOIN ledger_monthclose c ON c.id = m.close_id
         WHERE m.firm_id = %(firm)s ORDER BY h.ref, m.month, m.version""",
    "ledger_finding": """
        SELECT h.ref, f.code, f.key, f.first_month, f.last_month, f.dollars_cents,
               f.cost_per_year_cents, f.severity, f.life, f.open, f.state, f.detail::text
          FROM ledger_finding f JOIN planning_household h ON h.id = f.household_id
         WHERE f.firm_id = %(firm)s ORDER BY h.ref, f.code, f.key, f.first_month, f.last_month""",
    "ledger_findingevent": """
        SELECT h.ref, f.code, f.key, f.first_month, e.number, e.kind, e.month,
               e.dollars_cents, e.severity, e.reason
          FROM ledger_findingevent e
          JOIN ledger_finding f ON f.id = e.finding_id
          JOIN planning_household h ON h.id = f.household_id
         WHERE e.firm_id = %(firm)s ORDER BY h.ref, f.code, f.key, f.first_month, e.number""",
    # The work list names its top finding by id; the finding itself is compared above.
    "ledger_householdstanding": """
        SELECT h.ref, (to_jsonb(s) - 'id' - 'firm_id' - 'household_id' - 'advisor_id' - 'top')::text
          FROM ledger_householdstanding s JOIN planning_household h ON h.id = s.household_id
         WHERE s.firm_id = %(firm)s ORDER BY h.ref""",
    # A count is the sum of its rows, however often they were folded.
    "ledger_standingcount": """
        SELECT facet, value, scope = firm_id, sum(households), sum(cents)
          FROM ledger_standingcount WHERE firm_id = %(firm)s
         GROUP BY 1, 2, 3 HAVING sum(households) <> 0 OR sum(cents) <> 0 ORDER BY 1, 2, 3""",
    "ledger_job": """
        SELECT kind, key, state, done, total, message FROM ledger_job
         WHERE firm_id = %(firm)s ORDER BY kind, key""",
    # How often a close completed depends on who finished last; that it did, does not.
    "config_auditevent": """
        SELECT DISTINCT action, object_type, detail ->> 'month', detail ->> 'version',
               detail ->> 'reason'
          FROM config_auditevent WHERE firm_id = %(firm)s ORDER BY 1, 2, 3, 4, 5""",
}
# Facts that a close only reads: any change to one of them shows in its columns.
OTHERS = """
    SELECT (to_jsonb(t) - ARRAY(SELECT column_name::text FROM information_schema.columns
                                 WHERE table_name = %(table)s
                                   AND (column_name = 'id' OR column_name LIKE '%%\\_id'
                                        OR column_name LIKE '%%\\_at')))::text
      FROM {table} t WHERE firm_id = %(firm)s ORDER BY 1"""


def firm_tables(connection: psycopg.Connection) -> list[str]:
    """Every table with rows of a firm."""
    rows = connection.execute(
        "SELECT table_name FROM information_schema.columns"
        " WHERE table_schema = 'public' AND column_name = 'firm_id' ORDER BY 1"
    ).fetchall()
    return [row[0] for row in rows]


def dump(connection: psycopg.Connection, firm_id: UUID) -> dict[str, str]:
    """SHA-256 by table of a firm's rows."""
    found: dict[str, str] = {}
    for table, rows in content(connection, firm_id).items():
        text = "\n".join("\x1f".join(str(value) for value in row) for row in rows)
        found[table] = hashlib.sha256(text.encode()).hexdigest()
    return found


def content(connection: psycopg.Connection, firm_id: UUID) -> dict[str, list[tuple[object, ...]]]:
    """The rows behind the hashes, to show a difference."""
    found: dict[str, list[tuple[object, ...]]] = {}
    for table in firm_tables(connection):
        query = QUERIES.get(table) or OTHERS.format(table=table)
        values = {"firm": firm_id, "table": table}
        found[table] = list(connection.execute(query, values).fetchall())
    return found


def assert_twins(connection: psycopg.Connection, one: UUID, other: UUID) -> None:
    """Both firms' dumps are equal, byte for byte; the first difference is shown."""
    left, right = content(connection, one), content(connection, other)
    for table, rows in left.items():
        missing = [row for row in rows if row not in right[table]]
        extra = [row for row in right[table] if row not in rows]
        assert not missing, f"{table}: only in the first: {missing[:2]}"
        assert not extra, f"{table}: only in the second: {extra[:2]}"
    assert dump(connection, one) == dump(connection, other)
