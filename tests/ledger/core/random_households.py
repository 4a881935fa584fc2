"""Random households with a life: draws of every use, repayments, leaks, gaps."""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

from planning.core.household_file import household_from_json
from planning.core.months import first_day, last_day, months_between
from planning.core.types import Household

USES = (
    "income-investment", "income-investment", "income-investment", "business-expense",
    "rental-expense", "line-interest", "registered-plan", "personal", "non-income-asset",
    "refinance",
)  # fmt: skip
KINDS = ("eligible_dividend", "interest", "return_of_capital", "capital_gain")


def money(cents: int) -> str:
    """Cents as the file writes them."""
    return f"{cents // 100}.{cents % 100:02d}"


class _Life:
    """One household's random months."""

    def __init__(self, seed: int, lines: int, months: int) -> None:
        self.dice = random.Random(seed)
        self.seed = seed
        self.lines = [f"line{k}" if k else "line" for k in range(lines)]
        self.accounts = ["inv", "inv2"]
        self.balance = dict.fromkeys(self.lines, 0)
        self.value = dict.fromkeys(self.accounts, 0)
        self.months = (
            months_between("2024-01", f"2025-{months - 12:02d}")
            if months > 12
            else (months_between("2024-01", f"2024-{months:02d}"))
        )
        self.statements: list[dict[str, Any]] = []
        self.uses: list[dict[str, Any]] = []
        self.contributions: dict[str, list[dict[str, Any]]] = {one: [] for one in self.accounts}
        self.number = 0

    def amount(self, high: int = 900_000) -> int:
        return self.dice.randrange(1, high)

    def an_id(self, stem: str) -> str:
        self.number += 1
        return f"{stem}-{self.number}"

    def split(self, cents: int, day: date, draw: str) -> dict[str, Any]:
        use = self.dice.choice(USES)
        late = [{"ref": "late paper", "on": (day + timedelta(40)).isoformat()}]
        row: dict[str, Any] = {"amount": money(cents), "use": use,
                               "evidence": self.dice.choice(([], [], ["paper"], late))}  # fmt: skip
        if use == "income-investment":
            row["to"] = self.dice.choice((*self.accounts, "tfsa") if self.dice.random() < 0.1
                                         else self.accounts)  # fmt: skip
            if row["to"] != "tfsa" and self.dice.random() < 0.7:
                when = day + timedelta(self.dice.choice((0, 1, 4, 5, 6)))
                entry = {"id": self.an_id("c"), "date": when.isoformat(), "kind": "contribution",
                         "amount": money(cents)}  # fmt: skip
                if self.dice.random() < 0.5:
                    entry["from"] = draw
                self.contributions[row["to"]].append(entry)
        elif use == "line-interest" and self.dice.random() < 0.5:
            row["to"] = self.dice.choice(self.lines)
        elif use == "refinance":
            row["to"] = self.dice.choice(self.lines)
            of = self.dice.choice((None, "eligible", "unsupported", "ineligible"))
            if of:
                row["of"] = of
        return row

    def line_month(self, ref: str, month: str) -> None:
        starts, ends = first_day(month), last_day(month)
        opening = self.balance[ref]
        if month == self.months[0] and self.dice.random() < 0.5:
            opening = self.balance[ref] = self.amount(3_000_000)
            if self.dice.random() < 0.7:
                part = opening * 2 // 3
                self.uses.append({"draw": f"{ref}-opening", "splits": [
                    self.split(part, starts, f"{ref}-opening")]})  # fmt: skip
        elif self.dice.random() < 0.06:
            opening = max(0, opening + self.dice.randrange(-50_000, 50_000))
            self.balance[ref] = opening
        entries: list[dict[str, Any]] = []
        for day in sorted(starts + timedelta(self.dice.randrange(0, 28)) for _ in range(3)):
            kind = self.dice.choice(("draw", "draw", "repayment", "fee"))
            cents = self.amount() if kind != "fee" else self.amount(5_000)
            if kind == "repayment" and self.dice.random() < 0.9:
                cents = min(cents, max(1, self.balance[ref]))
            entry_id = self.an_id(f"{ref}-{kind}")
            entries.append({"id": entry_id, "date": day.isoformat(), "kind": kind,
                            "amount": money(cents)})  # fmt: skip
            self.balance[ref] += -cents if kind == "repayment" else cents
            if kind != "repayment" and self.dice.random() < (0.85 if kind == "draw" else 0.3):
                parts = self.dice.choice(
                    ((cents,), (cents // 2, cents - cents // 2), (cents // 3,))
                )
                self.uses.append({"draw": entry_id, "splits": [
                    self.split(part, day, entry_id) for part in parts if part]})  # fmt: skip
        if self.dice.random() < 0.93:
            cents = max(0, self.balance[ref]) // self.dice.choice((150, 200, 190))
            entries.append({"id": self.an_id(f"{ref}-i"), "date": ends.isoformat(),
                            "kind": "interest", "amount": money(cents)})  # fmt: skip
            self.balance[ref] += cents
            if self.dice.random() < 0.6 and cents:
                paid = cents if self.dice.random() < 0.7 else cents // 2
                entries.append({"id": self.an_id(f"{ref}-p"), "date": ends.isoformat(),
                                "kind": "repayment", "amount": money(paid)})  # fmt: skip
                self.balance[ref] -= paid
        closing = self.balance[ref]
        if self.dice.random() < 0.05:
            closing += self.dice.randrange(1, 20_000)
            self.balance[ref] = closing
        rates = [[starts.isoformat(), f"0.0{self.dice.randrange(400, 800)}"]]
        if self.dice.random() < 0.3:
            rates.append([(starts + timedelta(11)).isoformat(), "0.0655"])
        if self.dice.random() < 0.04:
            return  # this statement never came
        sign = "-" if opening < 0 else ""
        sign_closing = "-" if closing < 0 else ""
        self.statements.append({
            "account": ref, "starts": starts.isoformat(), "ends": ends.isoformat(),
            "opening": sign + money(abs(opening)), "closing": sign_closing + money(abs(closing)),
            "limit": None, "value": None,
            "rates": rates if self.dice.random() < 0.8 else [], "entries": entries,
        })  # fmt: skip

    def account_month(self, ref: str, month: str) -> None:
        starts, ends = first_day(month), last_day(month)
        opening = self.value[ref]
        if month == self.months[0] and self.dice.random() < 0.5:
            opening = self.amount(2_000_000)
        due = [one for one in self.contributions[ref] if one["date"] <= ends.isoformat()]
        self.contributions[ref] = [one for one in self.contributions[ref] if one not in due]
        entries = [one for one in due if one["date"] >= starts.isoformat()]
        if self.dice.random() < 0.3:
            entries.append({"id": self.an_id("own"), "date": ends.isoformat(),
                            "kind": "contribution", "amount": money(self.amount()),
                            "from": "own"})  # fmt: skip
        for _ in range(self.dice.randrange(0, 3)):
            day = (starts + timedelta(self.dice.randrange(0, 28))).isoformat()
            entries.append({"id": self.an_id("d"), "date": day, "kind": "distribution",
                            "amount": money(self.amount(30_000)), "of": self.dice.choice(KINDS),
                            "paid": self.dice.choice(("cash", "reinvested"))})  # fmt: skip
        if self.dice.random() < 0.4:
            day = (starts + timedelta(self.dice.randrange(0, 28))).isoformat()
            entries.append(self.leaving(ref, day))
        entries.sort(key=lambda one: str(one["date"]))
        self.value[ref] = max(1, opening + self.dice.randrange(-20_000, 60_000))
        self.statements.append({
            "account": ref, "starts": starts.isoformat(), "ends": ends.isoformat(),
            "opening": money(opening), "closing": money(self.value[ref]), "limit": None,
            "value": self.dice.choice((None, money(self.value[ref]))), "rates": [],
            "entries": entries,
        })  # fmt: skip

    def leaving(self, ref: str, day: str) -> dict[str, Any]:
        other = "inv2" if ref == "inv" else "inv"
        if self.dice.random() < 0.2:
            to = self.dice.choice(("tfsa", other))
            row = {"id": self.an_id("k"), "date": day, "kind": "transfer-in-kind",
                   "amount": money(self.amount(40_000)), "to": to}  # fmt: skip
            if self.dice.random() < 0.6:
                row["cost_fraction"] = f"0.{self.dice.randrange(1, 99):02d}"
            return row
        cents = self.amount(40_000)
        row = {"id": self.an_id("w"), "date": day, "kind": "withdrawal", "amount": money(cents),
               "to": self.dice.choice(("personal", "mortgage", "line", "registered", "idle",
                                       other))}  # fmt: skip
        of = self.dice.choice((None, "income", "return_of_capital", "proceeds"))
        if of:
            row["of"] = of
        if of == "proceeds":
            if self.dice.random() < 0.5:
                row["proceeds"] = money(cents + self.amount(20_000))
            if self.dice.random() < 0.6:
                row["cost_fraction"] = self.dice.choice(("0.25", "1", "0.5"))
        return row

    def file(self) -> dict[str, Any]:
        for month in self.months:
            for ref in self.lines:
                self.line_month(ref, month)
            for ref in self.accounts:
                self.account_month(ref, month)
        known = {one["id"] for s in self.statements for one in s["entries"]}
        for statement in self.statements:
            for one in statement["entries"]:
                if one.get("from") not in (None, "own") and one["from"] not in known:
                    del one["from"]
        openings = {f"{ref}-opening" for ref in self.lines}
        first = {s["account"]: s for s in reversed(self.statements)}
        shown = {
            f"{ref}-opening" for ref in self.lines
            if ref in first and first[ref]["opening"] not in ("0.00",)
        }  # fmt: skip
        uses = [
            one for one in self.uses
            if one["draw"] in known or (one["draw"] in openings and one["draw"] in shown
                                        and first[one["draw"][:-8]]["starts"] == "2024-01-01")
        ]  # fmt: skip
        return {
            "format": "towpath/household", "version": 1,
            "household": {"ref": f"T-{self.seed}", "name": "Random", "province": "ON",
                          "advisor": None},
            "members": [{"ref": "m1", "name": "A", "province": "ON"}],
            "facility": {"lender_value": "900000.00", "registered_limit": "720000.00",
                         "line_cap": "500000.00",
                         "capitalised_interest": self.dice.choice(
                             ("compounding", "compounding", "paid-by-advance")),
                         "interest_method": self.dice.choice(("paid", "payable"))},
            "mortgages": [],
            "lines": [{"ref": ref, "spread": "0.0050"} for ref in self.lines],
            "investments": [
                *(
                    {"ref": ref, "kind": "non-registered", "owners": ["m1"]}
                    for ref in self.accounts
                ),
                {"ref": "tfsa", "kind": "tfsa", "owners": ["m1"]},
            ],
            "prime": [["2023-12-01", "0.0720"], ["2024-06-06", "0.0695"]],
            "statements": self.statements,
            "uses": uses,
            "plan": None,
        }  # fmt: skip


def random_life(seed: int, lines: int = 1, months: int = 14) -> Household:
    """A household of random facts; the same seed gives the same one."""
    return household_from_json(_Life(seed, lines, months).file(), f"life {seed}")
