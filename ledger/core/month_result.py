"""What is kept of a closed month: one JSON value, the same bytes for the same facts.

It holds all that the month's page, the findings list and a packet need, so that
nothing has to be computed again to show what was said at the time. Amounts are
decimal strings. The plan's other months and the entries of the lines are left
out: they are in the facts, and the digest names the facts.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256

from ledger.core.accounts_due import AccountDue
from ledger.core.close import Closing, MonthClose
from ledger.core.deductions import deduction_years
from ledger.core.digest import ENGINE
from ledger.core.drift.lives import FindingRun, follow
from ledger.core.finding_changes import Run
from ledger.core.report import amounts_json, classes_json, deduction_json, month_json, run_json
from planning.core.money import text_from_cents
from planning.core.months import last_day

Json = dict[str, object]


@dataclass(frozen=True, slots=True)
class KeptMonth:
    """A month's close as it is stored: `result` as JSON, its digest, the runs of findings."""

    month: str
    input_digest: str
    engine: str
    result: Json
    result_digest: str
    runs: tuple[Run, ...]


class HouseholdCloser:
    """Closes months of one household, sharing everything two months have in common.

    Months may be asked for in any order; each is what `close` says for it.
    `through` is the last month that will be asked for: causes are worked out
    for all months up to it at once.
    """

    engine = ENGINE

    def __init__(self, closing: Closing, through: str) -> None:
        self._closing = closing
        self._through = through

    def digest(self, month: str) -> str:
        """The digest of what a month's close rests on, without closing it."""
        return self._closing.digests.of(month, last_day(month))

    def close(self, month: str) -> KeptMonth:
        """Close one month. Raises BadInput where the core does."""
        closing = self._closing
        closing.attribution(max(self._through, month))
        runs = follow([(one, closing.findings(one)) for one in closing.months(month)])
        return kept(closing, closing.close(month, runs))


def kept(closing: Closing, close: MonthClose) -> KeptMonth:
    """A month's close in the form it is stored in."""
    result = result_json(closing, close)
    return KeptMonth(
        month=close.month,
        input_digest=close.digest,
        engine=close.engine,
        result=result,
        result_digest=sha256(canonical_json(result).encode()).hexdigest(),
        runs=tuple(finding_run(one) for one in close.runs),
    )


def canonical_json(value: Mapping[str, object]) -> str:
    """Sorted keys, no blanks: equal values are equal text."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def result_json(closing: Closing, close: MonthClose) -> Json:
    """The stored value of a month's close."""
    traced, view = closing.traced(close.month)
    years = deduction_years(closing.household, traced, close.month)
    return {
        **month_json(close),
        "engine": close.engine,
        "plan": None if close.plan is None else amounts_json(close.plan),
        "accounts": [_account_json(one) for one in close.accounts],
        "deductible_to_date": text_from_cents(close.deductible_to_date),
        "lines": {ref: classes_json(line) for ref, line in view.lines.items()},
        "deductions": {str(one.year): deduction_json(one) for one in years},
        "drift": [run_json(one) for one in close.runs],
    }


def _account_json(account: AccountDue) -> Json:
    return {
        "account": account.account,
        "what": account.what,
        "due": text_from_cents(account.due),
        "stated": text_from_cents(account.stated),
        "difference": text_from_cents(account.difference),
        "closing": text_from_cents(account.closing),
        "covered": account.covered,
    }


def finding_run(run: FindingRun) -> Run:
    """A run of findings in the terms of the list of findings."""
    shown = run_json(run)
    return Run(
        code=run.finding.code,
        key=run.finding.key,
        first=run.first,
        last=run.last,
        open=run.open,
        dollars_cents=run.finding.dollars_cents,
        cost_per_year_cents=run.finding.cost_per_year_cents,
        severity=run.finding.severity,
        life=run.finding.life,
        detail=canonical_json({name: shown[name] for name in ("evidence", "remedy", "steps")}),
    )
