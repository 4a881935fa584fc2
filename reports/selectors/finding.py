"""One finding as its page reads it: what, since when, on what evidence, and its cure."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.utils.translation import get_language

from ledger.core.cure_plan import CURABLE, CurePlan, Scenario, cure_plan
from ledger.core.drift.settings import thresholds_json
from ledger.core.drift.thresholds import Thresholds
from ledger.core.renewal_cure import RENEWALS, renewal_plan
from ledger.core.report import step_json
from ledger.core.trace_adapter import opening_classes
from ledger.mapping import household_value
from ledger.models import FindingEvent
from ledger.selectors.thresholds import thresholds_in_force
from planning.access import NotVisibleError
from planning.core.money import text_from_cents
from planning.core.months import last_day, month_of
from planning.core.types import Household
from reports.cure_chart import cure_chart
from reports.packets.findings import due_by, shown_finding
from reports.selectors.book import GRACE, finding_json
from reports.selectors.inbox import assignable, visible_findings
from reports.selectors.stored import closed_months

CHART_WIDTH = 640


def finding_page_of(access: Any, finding_id: UUID) -> dict[str, Any]:
    """What a finding's page shows. Raises NotVisibleError for one that is not in view."""
    rows = visible_findings(access).filter(pk=finding_id)
    row = rows.select_related("household", "assignee__user").first()
    if row is None:
        raise NotVisibleError("no such finding")
    household = household_value(row.household)
    last = month_of(row.last_month)
    shown = shown_finding(finding_json(row) | _detail(row), last_day(last) + GRACE)
    history = _history(row)
    thresholds = thresholds_in_force(access.firm_id)
    closed = closed_months(row.household_id)
    return shown | {
        "thresholds": thresholds_json(thresholds),
        "id": row.pk,
        "state": row.state,
        "open": row.open,
        "until": row.accepted_until,
        "by": due_by(finding_json(row), last_day(last) + GRACE) if row.open else None,
        "ref": row.household.ref,
        "name": row.household.name,
        "assignee": row.assignee.user.email if row.assignee_id else "",
        "assignee_id": row.assignee_id,
        "lines": evidence_lines(household, shown["evidence"], closed),
        "notes": [one for one in history if one["kind"] == "noted"],
        "history": [one for one in history if one["kind"] != "noted"],
        "members": assignable(access, row.household),
        "may_accept": access.can("finding.accept"),
        "form": uuid4(),
        "month": last if last in closed else None,
        "renewal": (renewal_shown(household, row.code, row.key, thresholds) if row.open else None),
        "cure": _cure(row, household, max(closed, default=last)) if row.open else None,
    }


def _detail(row: Any) -> dict[str, Any]:
    """Evidence and remedy as the newest close gave them; the sentences still to be put together."""
    detail = dict(row.detail or {})
    return {name: detail[name] for name in ("evidence", "remedy", "steps") if name in detail}


def _history(row: Any) -> list[dict[str, Any]]:
    """Everything that happened to a finding, the newest first."""
    events = FindingEvent.objects.filter(finding_id=row.pk).order_by("-number")
    return [
        {
            "number": one.number,
            "kind": one.kind,
            "month": month_of(one.month) if one.month else None,
            "dollars": text_from_cents(one.dollars_cents),
            "severity": one.severity,
            "reason": one.reason,
            "until": one.until,
            "assignee": one.assignee.user.email if one.assignee_id else "",
            "by": one.by.email if one.by_id else "",
            "at": one.recorded_at,
        }
        for one in events.select_related("by", "assignee__user")
    ]


def evidence_lines(
    household: Household, evidence: list[str], closed: set[str]
) -> list[dict[str, Any]]:
    """The statement lines behind a finding; an id that is no entry stands alone.

    `month` is set where that month is closed and has a page.
    """
    entries = {
        one.id: (statement.account, one.date, one.kind, one.amount_cents)
        for statement in household.statements
        for one in statement.entries
    }
    for statement in household.statements:
        opening = f"{statement.account}-opening"
        if opening not in entries:
            first = household.statements_of(statement.account)[0]
            entries[opening] = (
                statement.account,
                first.starts,
                "opening",
                first.opening_cents,
            )
    rows: list[dict[str, Any]] = []
    for ref in evidence:
        account, day, kind, cents = entries.get(ref, ("", None, "", None))
        month = month_of(day) if isinstance(day, date) else None
        rows.append(
            {
                "ref": ref,
                "account": account,
                "date": day,
                "kind": kind,
                "amount": None if cents is None else text_from_cents(cents),
                "month": month if month in closed else None,
            }
        )
    return rows


def _cure(row: Any, household: Household, through: str) -> dict[str, Any] | None:
    """The cure played on; None where there is none to play."""
    if row.code not in CURABLE:
        return None
    plan = cure_plan(
        household, through, row.code, row.key, month_of(row.first_month), row.dollars_cents
    )
    return None if plan is None else cure_shown(plan)


def renewal_shown(
    household: Household, code: str, key: str, thresholds: Thresholds
) -> dict[str, Any] | None:
    """The renewal played on at three rates; None where there is none to play."""
    if code not in RENEWALS or household.plan is None:
        return None
    eve = household.plan.starts - timedelta(days=1)
    found = renewal_plan(
        household, key, thresholds.renewal_act_days, opening_classes(household, eve)
    )
    if found is None:
        return None
    return {
        "mortgage": found.mortgage,
        "on": found.on,
        "act_by": found.act_by,
        "passed": code == "renewal-passed",
        "room_year": text_from_cents(found.room_year),
        "room_all": text_from_cents(found.room_all),
        "ways": [
            {
                "rate": f"{one.rate:f}",
                "payment": text_from_cents(one.payment),
                "interest": text_from_cents(one.interest),
                "room": text_from_cents(one.room),
                "conversion": one.conversion,
            }
            for one in found.ways
        ],
    }


def cure_shown(plan: CurePlan) -> dict[str, Any]:
    """A cure as the page shows it: amounts as text, the picture with its table."""
    language = get_language() or "en"
    return {
        "line": plan.line,
        "day": plan.day,
        "year": plan.day.year,
        "rate": f"{plan.rate:f}",
        "code": plan.code,
        "remedy": [step_json(one) for one in plan.steps],
        "cautions": {"remedy": [step_json(one) for one in plan.cautions]},
        "cash": text_from_cents(plan.cash),
        "more_interest": text_from_cents(plan.more_interest),
        "not_restored": text_from_cents(plan.not_restored),
        "restored": text_from_cents(plan.restored),
        "best": plan.best.name,
        "adds": plan.code == "missed-reborrow" or plan.best.name == "reborrowed",
        "chart": cure_chart(plan.left.months, plan.best.months, language, CHART_WIDTH),
        "ways": [_way(one, plan.left) for one in plan.scenarios],
    }


def _way(one: Scenario, left: Scenario) -> dict[str, Any]:
    eligible, unsupported, ineligible = one.classes
    return {
        "name": one.name,
        "cash": text_from_cents(one.cash),
        "balance": text_from_cents(one.balance),
        "eligible": text_from_cents(eligible),
        "unsupported": text_from_cents(unsupported),
        "ineligible": text_from_cents(ineligible),
        "mixed": one.mixed,
        "year": text_from_cents(one.year),
        "ahead": text_from_cents(one.ahead),
        "gain": text_from_cents(one.ahead - left.ahead),
        "tax_saving": text_from_cents(one.tax_saving),
    }
