"""A household's months told in a few lines, as the file the engine reads.

A lender and a broker that keep perfect books: monthly payments on the 1st,
interest on the line posted on the last day and paid from cash the same day,
one statement a calendar month and account. A test changes one thing and looks
at what the engine makes of it. People and places are invented.
"""

from __future__ import annotations

from calendar import monthrange
from collections import defaultdict
from copy import deepcopy
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from ledger.core.close import evaluate
from planning.core.household_file import household_from_json
from planning.core.types import Household

CENT = Decimal("0.01")
MORTGAGE = Decimal("480000.00")
MONTHLY_RATE = (1 + Decimal("0.0489") / 2) ** (Decimal(1) / 6) - 1
PAYMENT = Decimal("2761.72")
LINE_RATE = Decimal("0.0570")
MARGINAL = {"ordinary": "0.4341", "eligible_dividend": "0.2538", "other_dividend": "0.3625",
            "interest": "0.4341", "foreign": "0.4341", "capital_gain": "0.2171"}  # fmt: skip


def money(value: Decimal | int | str) -> str:
    """Two places, half up."""
    return str(Decimal(value).quantize(CENT, ROUND_HALF_UP))


def month_days(month: str) -> tuple[date, date]:
    """First and last day of a month."""
    year, number = int(month[:4]), int(month[5:])
    return date(year, number, 1), date(year, number, monthrange(year, number)[1])


def months_from(first: str, count: int) -> list[str]:
    """`count` months from `first` on."""
    year, number = int(first[:4]), int(first[5:])
    found = []
    for index in range(count):
        place = year * 12 + number - 1 + index
        found.append(f"{place // 12:04d}-{place % 12 + 1:02d}")
    return found


class Story:
    """Months of one household; every `say` method adds an entry."""

    def __init__(self, first: str = "2025-01", months: int = 6) -> None:
        self.months = months_from(first, months)
        self.entries: dict[str, list[dict[str, Any]]] = defaultdict(list)
        self.uses: list[dict[str, Any]] = []
        self.skipped: set[tuple[str, str]] = set()
        self.limits: dict[str, str] = {}
        self.values: dict[str, str] = {}
        self.opening = {"mtg": MORTGAGE, "line": Decimal(0), "inv": Decimal(0)}
        self.posts_interest = True
        self.pays_interest = True
        self.pays_mortgage: dict[str, str | None] = {}
        self.extra_statements: list[dict[str, Any]] = []
        self.file = self._frame(first, months)

    def _frame(self, first: str, months: int) -> dict[str, Any]:
        starts = f"{first}-01"
        year = int(first[:4])
        return {
            "format": "towpath/household",
            "version": 1,
            "household": {"ref": "HH-7", "name": "Tamarack", "province": "ON", "advisor": None},
            "members": [
                {"ref": "m1", "name": "Ilse Tamarack", "province": "ON", "born": 1984,
                 "income": {str(year): "128000.00"}},
                {"ref": "m2", "name": "Odo Tamarack", "province": "ON", "born": 1983,
                 "income": {str(year): "64000.00"}},
            ],
            "facility": {"lender_value": "780000.00", "valued_on": starts,
                         "registered_limit": "480000.00", "revolving_cap": "0.65",
                         "line_cap": "507000.00", "excess_rule": "excess-first",
                         "capitalised_interest": "compounding", "interest_method": "paid"},
            "mortgages": [
                {"ref": "mtg", "original_principal": "480000.00",
                 "first_payment": f"{months_from(first, 2)[1]}-01", "amortization_months": 300,
                 "frequency": "monthly", "compounding": "semi-annual",
                 "biweekly_basis": "annuity", "prepayment_privilege": "0.15",
                 "borrowers": ["m1"],
                 "terms": [{"starts": starts, "matures": f"{year + 5}{starts[4:]}",
                            "kind": "fixed", "rate": "0.0489", "payment": None}]},
            ],
            "lines": [{"ref": "line", "day_basis": 365, "spread": "0.0050",
                       "borrowers": ["m1"], "payer": "m1", "claimant": "m1"}],
            "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1"]}],
            "prime": [[starts, "0.0520"]],
            "statements": [],
            "uses": [],
            "plan": {"starts": starts, "months": max(12, months),
                     "opening": {"mtg": "480000.00", "line": "0.00", "inv": "0.00"},
                     "prime": [], "renewals": [],
                     "reborrow": {"share": "1", "line": "line", "into": "inv",
                                  "opening_draw": "0.00", "reserve": "0.00"},
                     "line_interest": "from-cash",
                     # High, so that the return without tax stays above the tax benefit.
                     "investment": {"growth": "0.2000", "yields": {},
                                    "distributions": "reinvest"},
                     "refund": "keep", "refund_month": 5,
                     "marginal": dict(MARGINAL), "extras": [], "inflation": "0.02"},
        }  # fmt: skip

    # -- the telling -----------------------------------------------------------

    def say(self, account: str, day: str, kind: str, amount: str, **more: str) -> str:
        """Add an entry; its id is returned."""
        entry_id = more.pop("id", None) or f"{account}-{kind}-{day}-{len(self.entries[account])}"
        self.entries[account].append(
            {"id": entry_id, "date": day, "kind": kind, "amount": amount, **more}
        )
        return entry_id

    def draw(
        self,
        day: str,
        amount: str,
        use: str | None = "income-investment",
        *,
        evidence: tuple[str, ...] = ("confirm",),
        to: str | None = "inv",
        buys: bool = True,
    ) -> str:
        """Draw on the line, claim its use and buy on the same day."""
        draw = self.say("line", day, "draw", amount)
        if use is not None:
            split: dict[str, Any] = {"amount": amount, "use": use, "evidence": list(evidence)}
            if use == "income-investment":
                split["to"] = to
            self.uses.append({"draw": draw, "splits": [split]})
        if buys and use == "income-investment" and to == "inv":
            self.say("inv", day, "contribution", amount, **{"from": draw})
        return draw

    def reborrow_all(self) -> None:
        """Draw every payment's principal on its own day, as the plan does."""
        balance = self.opening["mtg"]
        for month in self.months[1:]:
            if month in self.pays_mortgage and self.pays_mortgage[month] is None:
                continue
            interest = (balance * MONTHLY_RATE).quantize(CENT, ROUND_HALF_UP)
            principal = PAYMENT - interest
            balance -= principal
            self.draw(f"{month}-01", money(principal))

    # -- the file ---------------------------------------------------------------

    def json(self) -> dict[str, Any]:
        """The household file."""
        file = deepcopy(self.file)
        statements = [*self._mortgage(), *self._line(), *self._investment()]
        file["statements"] = statements + self.extra_statements
        file["uses"] = self.uses
        return file

    def household(self) -> Household:
        """The file as the engine reads it."""
        return household_from_json(self.json(), "story.json")

    def _statement(
        self, account: str, month: str, opening: Decimal, closing: Decimal, entries: list[Any]
    ) -> dict[str, Any]:
        first, last = month_days(month)
        return {"account": account, "starts": first.isoformat(), "ends": last.isoformat(),
                "opening": money(opening), "closing": money(closing), "limit": None,
                "value": None, "rates": [], "entries": entries}  # fmt: skip

    def _of_month(self, account: str, month: str) -> list[dict[str, Any]]:
        return [one for one in self.entries[account] if one["date"][:7] == month]

    def _mortgage(self) -> list[dict[str, Any]]:
        balance, found = self.opening["mtg"], []
        self.mortgage_after: dict[str, Decimal] = {}
        for index, month in enumerate(self.months):
            opening = balance
            entries = []
            paid = self.pays_mortgage.get(month, "01")
            if index and paid is not None:
                interest = (balance * MONTHLY_RATE).quantize(CENT, ROUND_HALF_UP)
                balance -= PAYMENT - interest
                entries.append(
                    {"id": f"mtg-{month}", "date": f"{month}-{paid}", "kind": "payment",
                     "amount": money(PAYMENT), "interest": money(interest),
                     "principal": money(PAYMENT - interest)}
                )  # fmt: skip
            for one in self._of_month("mtg", month):
                entries.append(one)
                if one["kind"] == "payment":
                    balance -= Decimal(one["principal"])
                else:
                    sign = -1 if one["kind"] == "prepayment" else 1
                    balance += sign * Decimal(one["amount"])
            self.mortgage_after[month] = balance
            if ("mtg", month) not in self.skipped:
                found.append(self._statement("mtg", month, opening, balance, entries))
        return found

    def _line(self) -> list[dict[str, Any]]:
        balance, found = self.opening["line"], []
        nights = Decimal(0)
        for month in self.months:
            first, last = month_days(month)
            opening, entries = balance, list(self._of_month("line", month))
            by_day: dict[str, Decimal] = defaultdict(Decimal)
            for one in entries:
                sign = -1 if one["kind"] == "repayment" else 1
                by_day[one["date"]] += sign * Decimal(one["amount"])
            day = first
            while day <= last:
                if self.posts_interest and day == last:
                    posted = money(nights * LINE_RATE / 365)
                    nights = Decimal(0)
                    if Decimal(posted):
                        entries.append({"id": f"line-{month}-int", "date": day.isoformat(),
                                        "kind": "interest", "amount": posted})  # fmt: skip
                        balance += Decimal(posted)
                        if self.pays_interest:
                            entries.append({"id": f"line-{month}-paid", "date": day.isoformat(),
                                            "kind": "repayment", "amount": posted})  # fmt: skip
                            balance -= Decimal(posted)
                balance += by_day[day.isoformat()]
                nights += balance
                day += timedelta(days=1)
            if ("line", month) not in self.skipped:
                statement = self._statement("line", month, opening, balance, entries)
                statement["limit"] = self.limits.get(month)
                found.append(statement)
        return found

    def _investment(self) -> list[dict[str, Any]]:
        value, found = self.opening["inv"], []
        for month in self.months:
            opening, entries = value, self._of_month("inv", month)
            for one in entries:
                if one["kind"] == "contribution" or one.get("paid") == "reinvested":
                    value += Decimal(one["amount"])
                elif one["kind"] in ("withdrawal", "transfer-in-kind"):
                    value -= Decimal(one["amount"])
                elif one["kind"] == "distribution":
                    value += Decimal(one["amount"])
            value = Decimal(self.values.get(month, value))
            if ("inv", month) not in self.skipped:
                found.append(self._statement("inv", month, opening, value, entries))
        return found


PRINCIPALS = ("825.35", "828.68", "832.03", "835.38", "838.75")
"""Principal of the payments from the second month on, by the contract."""


def found(story: Story, code: str, through: str | None = None) -> list[tuple[object, ...]]:
    """Runs of one code: (key, first, last, dollars, severity, open)."""
    report = evaluate(story.household(), through)
    return [
        (
            run.finding.key,
            run.first,
            run.last,
            money(Decimal(run.finding.dollars_cents) / 100),
            run.finding.severity,
            run.open,
        )
        for run in report.runs
        if run.finding.code == code
    ]


def codes(story: Story, through: str | None = None) -> set[str]:
    """Every code that was found."""
    return {run.finding.code for run in evaluate(story.household(), through).runs}
