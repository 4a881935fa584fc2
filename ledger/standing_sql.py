"""The statements that keep standings, words and counters; a migration installs them.

Every function runs with the rights of whoever changed the facts, so row-level security
binds it like any other statement.
"""

from __future__ import annotations

TABLES_FUNCTIONS = (
    "towpath_stand(uuid[])",
    "towpath_stand_by_household()",
    "towpath_stand_by_row()",
    "towpath_stand_by_finding_change()",
    "towpath_stand_by_month_change()",
    "towpath_stand_by_term()",
    "towpath_count_standings()",
)

# One household's standing rows are locked before they are worked out anew, so that the
# later of two writers sees what the earlier one did. The dates are those of
# reports.packets.findings.due_by, counted from ten days after the last closed month.
STAND = """
CREATE FUNCTION towpath_stand(ids uuid[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM 1 FROM ledger_householdstanding WHERE id = ANY(ids) ORDER BY id FOR UPDATE;
    INSERT INTO ledger_householdstanding AS s
        (id, firm_id, household_id, advisor_id, advisor_email, ref, name, province, urgency,
         minus_drift_cents, unseen, severities, severity_cents, codes, states, assignees, top,
         top_code,
         more, due, last_closed, stale, renewal, eligible_cents, mortgage_cents, line_cents)
    SELECT h.id, h.firm_id, h.id, h.advisor_id, coalesce(h.advisor_email, ''), h.ref, h.name,
           h.province, coalesce(f.urgency, 4), -coalesce(f.drift, 0),
           coalesce(o.unseen, 0), coalesce(g.severities, '{}'), coalesce(g.cents, '{}'),
           coalesce(f.codes, '{}'),
           coalesce(o.states, '{}'), coalesce(f.assignees, '{}'), f.top[1],
           coalesce(f.top_code[1], ''), greatest(coalesce(f.steps, 0) - 1, 0), f.due, m.month,
           coalesce(m.stale, false), r.renewal, m.eligible, m.mortgage, m.line
      FROM planning_household h
      LEFT JOIN LATERAL (
        SELECT x.month, (x.result #>> '{actual,eligible}')::numeric * 100 AS eligible,
               (x.result #>> '{actual,mortgage_closing}')::numeric * 100 AS mortgage,
               (x.result #>> '{actual,line_closing}')::numeric * 100 AS line,
               EXISTS (SELECT 1 FROM ledger_householdmonth y
                        WHERE y.firm_id = h.firm_id AND y.household_id = h.id
                          AND y.state = 'done' AND y.stale_reason <> '') AS stale
          FROM ledger_householdmonth x
         WHERE x.firm_id = h.firm_id AND x.household_id = h.id AND x.result IS NOT NULL
         ORDER BY x.month DESC, x.version DESC LIMIT 1) m ON true
      LEFT JOIN LATERAL (
        SELECT array_agg(DISTINCT x.state) AS states,
               count(*) FILTER (WHERE x.state = 'open' AND x.severity IN ('act', 'fix'))
                   AS unseen
          FROM ledger_finding x
         WHERE x.firm_id = h.firm_id AND x.household_id = h.id AND x.open) o ON true
      LEFT JOIN LATERAL (
        SELECT min(rank) AS urgency,
               sum(dollars_cents) FILTER (WHERE step AND NOT exposure) AS drift,
               array_agg(DISTINCT code) AS codes,
               coalesce(array_agg(DISTINCT assignee_id) FILTER (WHERE assignee_id IS NOT NULL),
                        '{}') AS assignees,
               array_agg(id ORDER BY rank, dollars_cents DESC, code, key)
                   FILTER (WHERE step) AS top,
               array_agg(code ORDER BY rank, dollars_cents DESC, code, key)
                   FILTER (WHERE step) AS top_code,
               count(*) FILTER (WHERE step) AS steps,
               min(CASE WHEN code = 'renewal-due' THEN
                            CASE WHEN key ~ ':[0-9]{4}-[0-9]{2}-[0-9]{2}$'
                                 THEN right(key, 10)::date END
                        WHEN code = 'interest-unpaid' THEN
                            least(day, make_date(extract(year FROM base)::int, 12, 31))
                        ELSE day END) FILTER (WHERE step) AS due
          FROM (SELECT y.*,
                       base + (array[7, 14, 30, NULL])[rank + 1] AS day,
                       NOT (mixed AND code IN ('personal-use', 'registered-destination',
                                               'capital-leak', 'proceeds-leak')) AS step,
                       code IN ('renewal-due', 'renewal-passed') AS exposure
                  FROM (SELECT x.*, array_position(array['act', 'fix', 'paper', 'note'],
                                                   x.severity::text) - 1 AS rank,
                               (m.month + interval '1 month' - interval '1 day'
                                + interval '10 days')::date AS base,
                               bool_or(x.code = 'mixed-line') OVER () AS mixed
                          FROM ledger_finding x
                         WHERE x.firm_id = h.firm_id AND x.household_id = h.id
                           AND x.open AND x.state <> 'accepted') y) z) f ON true
      LEFT JOIN LATERAL (
        SELECT array_agg(severity ORDER BY rank) AS severities,
               array_agg(cents ORDER BY rank) AS cents
          FROM (SELECT x.severity, array_position(array['act', 'fix', 'paper', 'note'],
                                                  x.severity::text) AS rank,
                       coalesce(sum(x.dollars_cents) FILTER (
                           WHERE x.code NOT IN ('renewal-due', 'renewal-passed')
                             AND NOT ('mixed-line' = ANY(f.codes)
                                      AND x.code IN ('personal-use', 'registered-destination',
                                                     'capital-leak', 'proceeds-leak'))), 0) AS cents
                  FROM ledger_finding x
                 WHERE x.firm_id = h.firm_id AND x.household_id = h.id
                   AND x.open AND x.state <> 'accepted'
                 GROUP BY x.severity) y) g ON true
      LEFT JOIN LATERAL (
        SELECT min(matures) AS renewal
          FROM (SELECT max(t.matures) AS matures
                  FROM planning_mortgage p
                  JOIN planning_mortgageterm t ON t.firm_id = p.firm_id AND t.mortgage_id = p.id
                 WHERE p.firm_id = h.firm_id AND p.version_id = (
                       SELECT v.id FROM planning_householdversion v
                        WHERE v.firm_id = h.firm_id AND v.household_id = h.id
                        ORDER BY v.number DESC LIMIT 1)
                 GROUP BY p.id) q) r ON true
     WHERE h.id = ANY(ids)
     ORDER BY h.id
    ON CONFLICT (id) DO UPDATE SET
        advisor_id = EXCLUDED.advisor_id, advisor_email = EXCLUDED.advisor_email,
        ref = EXCLUDED.ref, name = EXCLUDED.name, province = EXCLUDED.province,
        urgency = EXCLUDED.urgency, minus_drift_cents = EXCLUDED.minus_drift_cents,
        unseen = EXCLUDED.unseen, severities = EXCLUDED.severities,
        severity_cents = EXCLUDED.severity_cents,
        codes = EXCLUDED.codes, states = EXCLUDED.states, assignees = EXCLUDED.assignees,
        top = EXCLUDED.top, top_code = EXCLUDED.top_code, more = EXCLUDED.more,
        due = EXCLUDED.due, last_closed = EXCLUDED.last_closed, stale = EXCLUDED.stale,
        renewal = EXCLUDED.renewal, eligible_cents = EXCLUDED.eligible_cents,
        mortgage_cents = EXCLUDED.mortgage_cents, line_cents = EXCLUDED.line_cents
    WHERE s.* IS DISTINCT FROM EXCLUDED.*;
END $$
"""

# Accents go by the same two rows of letters as in reports.selectors.worklist.
PLAIN_FROM = "àáâãäåçèéêëìíîïñòóôõöùúûüýÿ"
PLAIN_TO = "aaaaaaceeeeiiiinooooouuuuyy"
BY_HOUSEHOLD = f"""
CREATE FUNCTION towpath_stand_by_household() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM towpath_stand(ARRAY(SELECT id FROM fresh));
    DELETE FROM ledger_householdword w USING fresh f
     WHERE w.firm_id = f.firm_id AND w.household_id = f.id;
    INSERT INTO ledger_householdword (id, firm_id, household_id, word)
    SELECT gen_random_uuid(), f.firm_id, f.id, w.word
      FROM fresh f CROSS JOIN LATERAL (
        SELECT regexp_split_to_table(plain, '\\s+') AS word
          FROM (SELECT translate(lower(f.name || ' ' || f.ref), '{PLAIN_FROM}', '{PLAIN_TO}')
                       AS plain) p
        UNION
        SELECT regexp_split_to_table(plain, '[^[:alnum:]]+')
          FROM (SELECT translate(lower(f.name || ' ' || f.ref), '{PLAIN_FROM}', '{PLAIN_TO}')
                       AS plain) p) w
     WHERE w.word <> '';
    RETURN NULL;
END $$
"""  # noqa: S608 - composed of the constants above
BY_ROW = """
CREATE FUNCTION towpath_stand_by_row() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM towpath_stand(ARRAY(SELECT DISTINCT household_id FROM fresh));
    RETURN NULL;
END $$
"""
BY_CHANGE = """
CREATE FUNCTION {name}() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    moved uuid[] := ARRAY(SELECT DISTINCT f.household_id FROM fresh f JOIN old o USING (id)
                           WHERE ({new}) IS DISTINCT FROM ({old}));
BEGIN
    IF moved <> '{{}}' THEN PERFORM towpath_stand(moved); END IF;
    RETURN NULL;
END $$
"""
BY_TERM = """
CREATE FUNCTION towpath_stand_by_term() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM towpath_stand(ARRAY(
        SELECT DISTINCT v.household_id FROM fresh f
          JOIN planning_mortgage m ON m.firm_id = f.firm_id AND m.id = f.mortgage_id
          JOIN planning_householdversion v ON v.firm_id = m.firm_id AND v.id = m.version_id));
    RETURN NULL;
END $$
"""

_FACETS = """
    SELECT s.firm_id, x.scope, y.facet, y.value, {sign} AS n, {sign} * y.cents AS cents
      FROM {rows} s
     CROSS JOIN LATERAL (SELECT s.firm_id UNION ALL
                         SELECT s.advisor_id WHERE s.advisor_id IS NOT NULL) x(scope)
     CROSS JOIN LATERAL (
        SELECT 'all', '', -s.minus_drift_cents
        UNION ALL SELECT 'unseen', '', s.unseen WHERE s.unseen > 0
        UNION ALL SELECT 'province', s.province::text, 0
        UNION ALL SELECT 'advisor', s.advisor_email::text, 0 WHERE s.advisor_email <> ''
        UNION ALL SELECT 'severity', z.* FROM unnest(s.severities::text[], s.severity_cents) z
        UNION ALL SELECT 'code', z, 0 FROM unnest(s.codes::text[]) z
        UNION ALL SELECT 'state', z, 0 FROM unnest(s.states::text[]) z
        UNION ALL SELECT 'assigned', z::text, 0 FROM unnest(s.assignees) z
        UNION ALL SELECT 'assigned', '', 0 WHERE s.urgency < 4 AND s.assignees = '{{}}'
        UNION ALL SELECT 'renewal', to_char(s.renewal, 'YYYY-MM-DD'), 0
         WHERE s.renewal IS NOT NULL) y(facet, value, cents)
"""
_FRESH = _FACETS.format(rows="fresh", sign="1")
_OLD = _FACETS.format(rows="old", sign="-1")


def _branch(operation: str, rows: str) -> str:
    return f"""
    IF TG_OP = '{operation}' THEN
        INSERT INTO ledger_standingcount (id, firm_id, scope, facet, value, households, cents)
        SELECT gen_random_uuid(), firm_id, scope, facet, value, sum(n), sum(cents)
          FROM ({rows}) moved
         GROUP BY firm_id, scope, facet, value HAVING sum(n) <> 0 OR sum(cents) <> 0;
    END IF;"""  # noqa: S608 - composed of constants


# One writer in some fifty folds the rows of one count into one, unless another is at it.
COUNT = f"""
CREATE FUNCTION towpath_count_standings() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    {_branch("INSERT", _FRESH)}
    {_branch("UPDATE", _FRESH + " UNION ALL " + _OLD)}
    {_branch("DELETE", _OLD)}
    IF random() < 0.02 AND pg_try_advisory_xact_lock(hashtext('towpath_standingcount')) THEN
        WITH taken AS (
            DELETE FROM ledger_standingcount c USING (
                SELECT firm_id, scope, facet, value FROM ledger_standingcount
                 GROUP BY firm_id, scope, facet, value HAVING count(*) > 1) d
             WHERE (c.firm_id, c.scope, c.facet, c.value)
                   = (d.firm_id, d.scope, d.facet, d.value)
            RETURNING c.firm_id, c.scope, c.facet, c.value, c.households, c.cents)
        INSERT INTO ledger_standingcount (id, firm_id, scope, facet, value, households, cents)
        SELECT gen_random_uuid(), firm_id, scope, facet, value, sum(households), sum(cents)
          FROM taken GROUP BY firm_id, scope, facet, value
        HAVING sum(households) <> 0 OR sum(cents) <> 0;
    END IF;
    RETURN NULL;
END $$
"""  # noqa: S608 - composed of constants


def _change(name: str, columns: str) -> str:
    names = columns.split()
    return BY_CHANGE.format(
        name=name,
        new=", ".join(f"f.{one}" for one in names),
        old=", ".join(f"o.{one}" for one in names),
    )


def _trigger(name: str, event: str, table: str, function: str, rows: str) -> str:
    return (
        f"CREATE TRIGGER {name} AFTER {event} ON {table} REFERENCING {rows}"
        f" FOR EACH STATEMENT EXECUTE FUNCTION {function}()"
    )


_NEW = "NEW TABLE AS fresh"
_BOTH = "OLD TABLE AS old NEW TABLE AS fresh"
TRIGGERS = (
    ("stand_added", "INSERT", "planning_household", "towpath_stand_by_household", _NEW),
    ("stand_moved", "UPDATE", "planning_household", "towpath_stand_by_household", _NEW),
    ("stand_added", "INSERT", "planning_mortgageterm", "towpath_stand_by_term", _NEW),
    ("stand_added", "INSERT", "ledger_finding", "towpath_stand_by_row", _NEW),
    ("stand_moved", "UPDATE", "ledger_finding", "towpath_stand_by_finding_change", _BOTH),
    ("stand_moved", "UPDATE", "ledger_householdmonth", "towpath_stand_by_month_change", _BOTH),
    ("count_added", "INSERT", "ledger_householdstanding", "towpath_count_standings", _NEW),
    ("count_moved", "UPDATE", "ledger_householdstanding", "towpath_count_standings", _BOTH),
    (
        "count_removed",
        "DELETE",
        "ledger_householdstanding",
        "towpath_count_standings",
        "OLD TABLE AS old",
    ),
)
_FINDING = "code key severity dollars_cents open state assignee_id"
FORWARDS = [
    STAND,
    BY_HOUSEHOLD,
    BY_ROW,
    _change("towpath_stand_by_finding_change", _FINDING),
    _change("towpath_stand_by_month_change", "state stale_reason result_digest"),
    BY_TERM,
    COUNT,
    *(
        _trigger(name, event, table, function, rows)
        for name, event, table, function, rows in TRIGGERS
    ),
    # Every household there is gets its row and its words.
    "UPDATE planning_household SET name = name",
    "SET CONSTRAINTS ALL IMMEDIATE",
]
BACKWARDS = [
    *(f"DROP TRIGGER {name} ON {table}" for name, _, table, _, _ in TRIGGERS),
    *(f"DROP FUNCTION {name}" for name in TABLES_FUNCTIONS),
]
