"""Random whole households: mortgages, limits, a plan, and lapses of every kind.

A lender and a household are played a day at a time, each making mistakes by
the throw of a die; the statements are cut afterwards and some of them lost.
"""

from __future__ import annotations

import random
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

from planning.core.amortization import scheduled_dates
from planning.core.household_file import household_from_json
from planning.core.money import round_half_up
from planning.core.months import first_day, last_day, months_between
from planning.core.types import Household
from tests.ledger.core.random_households import KINDS, money
from tests.ledger.core.story import MARGINAL

FIRST, LAST = date(2024, 1, 1), date(2025, 2, 28)
FREQUENCIES = ("monthly", "monthly", "monthly", "semi-monthly", "biweekly",
               "accelerated-biweekly", "weekly", "accelerated-weekly")  # fmt: skip
PER_YEAR = {"monthly": 12, "semi-monthly": 24, "weekly": 52, "accelerated-weekly": 52}
BAD_USES = (
    "personal",
    "refinance",
    "registered-plan",
    "business-expense",
    "line-interest",
    "rental-expense",
)
Row = dict[str, Any]


def signed(cents: int) -> str:
    """Cents as the file writes them, below zero too."""
    return ("-" if cents < 0 else "") + money(abs(cents))


class Book:
    """One household's days."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)
        self.seed = seed
        dice = self.dice
        self.loans = ["mtg"] if dice.random() < 0.85 else ["mtg", "mtg2"]
        self.lines = ["line"] if dice.random() < 0.8 else ["line", "line2"]
        self.accounts = ["inv", "inv2"]
        self.frequency = {ref: dice.choice(FREQUENCIES) for ref in self.loans}
        self.original = {ref: dice.choice((480_000_00, 300_000_00, 9_000_00)) for ref in self.loans}
        self.balance = dict(self.original)
        self.start_line = dice.choice((0, 0, 0, 12_345_67, 60_000_00))
        self.held = {ref: self.start_line if ref == "line" else 0 for ref in self.lines}
        self.rows: dict[str, list[Row]] = defaultdict(list)
        self.uses: list[Row] = []
        self.number = 0
        self.careless = dice.choice((0.05, 0.2, 0.5))
        owed = sum(self.balance.values()) + self.start_line
        self.facility: Row = {
            "lender_value": money(dice.choice((owed * 5 // 4, owed * 8 // 5, owed * 13 // 10))),
            "registered_limit": money(owed + dice.choice((0, 0, 5_000_00, 100_000_00))),
            "revolving_cap": "0.65",
            "line_cap": money(dice.choice((20_000_00, 200_000_00, 200_000_00))),
            "excess_rule": dice.choice(("excess-first", "proportional", "none")),
            "capitalised_interest": dice.choice(("compounding", "paid-by-advance")),
            "interest_method": dice.choice(("paid", "payable")),
        }
        self.facility["line_cap"] = money(min(
            round(float(self.facility["line_cap"]) * 100),
            round(float(self.facility["lender_value"]) * 65),
        ))  # fmt: skip
        self.nights = dict.fromkeys(self.lines, Fraction(0))
        self.posts_on = dice.choice((0, 0, 5))
        self.basis = dice.choice((365, "actual"))
        self.file = self._frame()
        self.household = household_from_json(self.file, f"book {seed}")

    def odds(self, chance: float) -> bool:
        return self.dice.random() < chance

    def say(self, account: str, day: date, kind: str, cents: int, **more: Any) -> str:
        self.number += 1
        name = f"{account}-{kind}-{self.number}"
        self.rows[account].append(
            {"id": name, "date": day.isoformat(), "kind": kind, "amount": money(cents), **more}
        )
        return name

    # -- contracts ------------------------------------------------------------------

    def _loan(self, ref: str) -> Row:
        dice, frequency = self.dice, self.frequency[ref]
        per = PER_YEAR.get(frequency, 26)
        stated = [None, money(self.original[ref] * 75 // 1000 // per)]
        # Seen from the end of January or February: 20 to 22, 59 to 61 and 119 to 121 days.
        edges = [date(2025, 2, 28) + timedelta(days) for days in (20, 21, 22, 59, 60, 61)]
        edges += [date(2025, 1, 31) + timedelta(days) for days in (119, 120, 121)]
        matures = dice.choice((date(2029, 1, 1), date(2024, 9, 1), date(2024, 12, 17),
                               dice.choice(edges), dice.choice(edges)))  # fmt: skip
        terms = [{"starts": "2023-11-01", "matures": matures.isoformat(), "kind": "fixed",
                  "rate": "0.0489", "payment": dice.choice(stated)}]  # fmt: skip
        if self.odds(0.1):
            del terms[0]["rate"]
            terms[0] |= {"kind": "static", "spread": "-0.0110"}
        if matures.year == 2024 and self.odds(0.6):
            ends = dice.choice(("2029-09-01", "2025-04-15", "2025-02-28", "2024-12-31"))
            terms.append({"starts": matures.isoformat(), "matures": ends, "kind": "fixed",
                          "rate": "0.0525", "payment": dice.choice(stated)})  # fmt: skip
        first = dice.choice(("2024-01-05", "2024-02-01", "2024-01-31", "2023-12-10"))
        if frequency == "semi-monthly":
            first = dice.choice(("2024-01-13", "2024-02-01"))
        return {"ref": ref, "original_principal": money(self.original[ref]),
                "first_payment": first, "amortization_months": dice.choice((300, 290)),
                "frequency": frequency, "compounding": "semi-annual",
                "biweekly_basis": dice.choice(("annuity", "annual-total")),
                "prepayment_privilege": dice.choice(("0.15", "0.01")),
                "borrowers": ["m1"], "terms": terms}  # fmt: skip

    def _frame(self) -> Row:
        dice = self.dice
        people = [["m1"], ["m1"], ["m1"], ["m1", "m2"], ["m2"], []]
        lines = []
        for ref in self.lines:
            row = {"ref": ref, "day_basis": self.basis, "spread": "0.0050",
                   "borrowers": dice.choice(people),
                   "payer": dice.choice(("m1", "m1", "m1", "m2", None)),
                   "claimant": dice.choice(("m1", "m1", "m1", None))}  # fmt: skip
            if self.odds(0.1):
                row["owners_explained"] = "memo"
            lines.append(row)
        starts = dice.choice(("2024-01-01", "2024-01-01", "2024-04-01"))
        opening = {ref: money(cents) for ref, cents in self.balance.items()}
        plan: Row = {
            "starts": starts, "months": dice.choice((8, 36)),
            "opening": {**opening, "line": money(self.start_line), "inv": "0.00"},
            "prime": [], "renewals": [],
            "reborrow": {"share": dice.choice(("1", "1", "0.8", "0")),
                         "line": dice.choice(self.lines), "into": "inv", "opening_draw": "0.00",
                         "reserve": dice.choice(("0.00", "0.00", "750.00"))},
            "line_interest": dice.choice(("from-cash", "from-line")),
            "investment": {"growth": "0.0300", "yields": {}, "distributions": "reinvest"},
            "refund": "keep", "refund_month": 5, "marginal": dict(MARGINAL), "extras": [],
            "inflation": "0.02",
        }  # fmt: skip
        if self.odds(0.1):
            plan["reborrow"] = None
        return {
            "format": "towpath/household", "version": 1,
            "household": {"ref": f"B-{self.seed}", "name": "Random", "province": "ON",
                          "advisor": None},
            "members": [{"ref": one, "name": one, "province": "ON"} for one in ("m1", "m2")],
            "facility": self.facility,
            "mortgages": [self._loan(ref) for ref in self.loans],
            "lines": lines,
            "investments": [
                *({"ref": ref, "kind": "non-registered", "owners": dice.choice(people[2:5])}
                  for ref in self.accounts),
                {"ref": "tfsa", "kind": "tfsa", "owners": ["m1"]},
            ],
            "prime": [["2023-10-01", "0.0720"], ["2024-06-06", "0.0695"],
                      ["2024-10-24", "0.0595"]],
            "statements": [], "uses": [], "plan": plan if self.odds(0.92) else None,
        }  # fmt: skip

    # -- days --------------------------------------------------------------------------

    def play(self) -> None:
        for loan in self.household.mortgages:
            self.pay_loan(loan.ref)
        freed: dict[date, int] = defaultdict(int)
        for ref in self.loans:
            for row in self.rows[ref]:
                part = row.get("principal") or row["amount"]
                freed[date.fromisoformat(row["date"])] += max(0, round(float(part) * 100))
        waiting: list[tuple[date, int]] = []
        if self.start_line and self.odds(0.8):
            self.claim("line-opening", self.start_line, FIRST)
        day = FIRST
        while day <= LAST:
            if freed[day] and not self.odds(self.careless):
                waiting.append((day, freed[day]))
            elif freed[day] and self.odds(0.6):
                later = self.dice.choice((5, 10, 11, 20, 40))
                waiting.append((day + timedelta(later), freed[day]))
            for when, cents in [one for one in waiting if one[0] == day]:
                waiting.remove((when, cents))
                self.draw(
                    "line", day, max(1, cents - self.dice.choice((0, 0, 0, 3_000, 5_000, 7_000)))
                )
            if self.odds(0.02 * self.careless):
                self.draw(self.dice.choice(self.lines), day, self.dice.randrange(5_000, 900_000))
            self.line_day(day)
            self.account_day(day)
            day += timedelta(1)

    def pay_loan(self, ref: str) -> None:
        loan = next(one for one in self.household.mortgages if one.ref == ref)
        level = self.original[ref] * 75 // 1000 // PER_YEAR.get(self.frequency[ref], 26)
        events: list[tuple[date, str]] = []
        for day in scheduled_dates(loan, FIRST, LAST):
            if self.odds(0.06 * (1 + self.careless)):
                if self.odds(0.6):
                    late = self.dice.choice((-5, -3, 2, 5, 6, 12))
                    events.append((max(FIRST, day + timedelta(late)), "payment"))
                continue
            events.append((day, "payment"))
        for _ in range(self.dice.choice((0, 0, 1, 3))):
            when = FIRST + timedelta(self.dice.randrange(0, 420))
            events.append((when, self.dice.choice(("prepayment", "prepayment", "charge",
                                                   "advance"))))  # fmt: skip
        for day, kind in sorted(one for one in events if one[0] <= LAST):
            if kind == "payment" and self.balance[ref] <= level:
                continue
            if kind == "payment":
                interest = round(self.balance[ref] * 0.0489 / PER_YEAR.get(self.frequency[ref], 26))
                if self.odds(0.02):
                    interest = level + 1_000
                more: Row = {"interest": signed(interest), "principal": signed(level - interest)}
                self.say(ref, day, kind, level, **more)
                self.balance[ref] -= level - interest
                continue
            cents = self.dice.randrange(1_000, 800_000)
            if kind == "prepayment":
                cents = self.dice.choice((cents, self.original[ref] // 90))
                cents = min(cents, self.balance[ref])
            if cents <= 0:
                continue
            self.balance[ref] += -cents if kind == "prepayment" else cents
            self.say(ref, day, kind, cents)

    def draw(self, ref: str, day: date, cents: int) -> None:
        kind = "fee" if self.odds(0.02) else "draw"
        name = self.say(ref, day, kind, cents)
        self.held[ref] += cents
        if not self.odds(0.08):
            self.claim(name, cents, day)

    def claim(self, draw: str, cents: int, day: date) -> None:
        parts = [cents] if not self.odds(0.15) else [cents // 2, cents // 3]
        self.uses.append({"draw": draw, "splits": [self.split(one, day, draw) for one in parts]})

    def split(self, cents: int, day: date, draw: str) -> Row:
        wild = self.odds(0.15 * (1 + self.careless))
        use = self.dice.choice(BAD_USES) if wild else "income-investment"
        late = [{"ref": "late paper", "on": (day + timedelta(45)).isoformat()}]
        papers: list[Any] = self.dice.choice((["paper"], ["paper"], ["paper"], [], late))
        row: Row = {"amount": money(cents), "use": use, "evidence": papers}
        if use == "refinance":
            row["to"] = self.dice.choice(self.lines)
        if use == "income-investment":
            row["to"] = self.dice.choice(("inv", "inv", "inv", "inv2"))
            if self.odds(0.03):
                row["to"] = "tfsa"
            when = day + timedelta(self.dice.choice((0, 0, 0, 2, 5, 6, 30)))
            if row["to"] != "tfsa" and self.odds(0.8) and when <= LAST:
                more = {"from": draw} if self.odds(0.7) else {}
                self.say(row["to"], when, "contribution", cents, **more)
        return row

    def line_day(self, day: date) -> None:
        posts_on = self.posts_on or last_day(f"{day:%Y-%m}").day
        for ref in self.lines:
            if day.day == posts_on and self.odds(0.96):
                cents = round_half_up(self.nights[ref])
                self.nights[ref] = Fraction(0)
                if self.odds(0.1):
                    cents = max(0, cents + self.dice.choice((-62, -40, 55, 61, 300)))
                if cents:
                    self.say(ref, day, "interest", cents)
                    self.held[ref] += cents
                    if self.odds(0.8):
                        paid = cents if self.odds(0.85) else cents // 2
                        if paid:
                            self.say(ref, day, "repayment", paid)
                            self.held[ref] -= paid
            elif self.odds(0.006):
                cents = max(1, self.dice.choice((self.held[ref], self.held[ref] // 3)))
                self.say(ref, day, "repayment", cents)
                self.held[ref] -= cents
            leap = self.basis == "actual" and day.year == 2024
            rate = Fraction(Decimal(self.line_rate(day)))
            self.nights[ref] += max(0, self.held[ref]) * rate / (366 if leap else 365)

    @staticmethod
    def line_rate(day: date) -> str:
        if day < date(2024, 6, 6):
            return "0.0770"
        return "0.0745" if day < date(2024, 10, 24) else "0.0645"

    def account_day(self, day: date) -> None:
        for ref in self.accounts:
            if self.odds(0.01):
                self.say(ref, day, "distribution", self.dice.randrange(1, 30_000),
                         of=self.dice.choice(KINDS),
                         paid=self.dice.choice(("cash", "reinvested")))  # fmt: skip
            if self.odds(0.012 * self.careless):
                cents = self.dice.randrange(1, 100_000)
                if self.odds(0.25):
                    self.say(ref, day, "transfer-in-kind", cents, to="tfsa", cost_fraction="0.05")
                    continue
                more: Row = {"to": self.dice.choice(("personal", "mortgage", "line", "idle",
                                                     "registered"))}  # fmt: skip
                of = self.dice.choice((None, "income", "return_of_capital", "proceeds"))
                if of:
                    more["of"] = of
                self.say(ref, day, "withdrawal", cents, **more)

    # -- statements -----------------------------------------------------------------------

    def spans(self, cycle: int) -> list[tuple[date, date]]:
        """Calendar months, or months from the 16th to the 15th."""
        found = [(first_day(m), last_day(m)) for m in months_between("2024-01", "2025-02")]
        if cycle == 1:
            return found
        cut = [date(one.year, one.month, cycle) for one, _ in found]
        spans = [(FIRST, cut[0] - timedelta(1))]
        spans += [(a, b - timedelta(1)) for a, b in pairwise(cut)]
        return spans

    def cut(self, account: str, balance: int, cycle: int, kind: str) -> list[Row]:
        found: list[Row] = []
        limit: int | None = None
        lose = self.dice.choice((0.0, 0.0, 0.08))
        late = self.dice.choice((0, 0, 0, 0, 2)) if account != "mtg" else 0
        for number, (starts, ends) in enumerate(self.spans(cycle)):
            rows = [dict(row) for row in self.rows[account]
                    if starts.isoformat() <= row["date"] <= ends.isoformat()]  # fmt: skip
            rows.sort(key=lambda row: str(row["date"]))
            opening = balance
            if kind == "account":
                gained = sum(round(float(row["amount"]) * 100)
                             * (1 if row["kind"] in ("contribution", "distribution") else -1)
                             for row in rows)  # fmt: skip
                balance = max(1, round((balance + gained) * self.dice.choice((1, 1.01, 0.9))))
            else:
                balance += sum(self.change(row, kind) for row in rows)
            # A break on a loan nearly paid out could leave it below zero.
            if kind != "account" and self.odds(0.02) and (kind == "line" or balance > 50_000_00):
                balance += self.dice.randrange(-9_000, 9_000)
                balance = max(0, balance)
            payments = [row for row in rows if row["kind"] == "payment"]
            if kind == "loan" and cycle == 1 and len(payments) == 1 and self.odds(0.1):
                del payments[0]["interest"], payments[0]["principal"]
            if kind == "line":
                limit = self.next_limit(limit)
            row: Row = {"account": account, "starts": starts.isoformat(),
                        "ends": ends.isoformat(), "opening": signed(opening),
                        "closing": signed(balance), "limit": None, "value": None, "rates": [],
                        "entries": rows}  # fmt: skip
            if kind == "line" and self.odds(self.states_limits):
                row["limit"] = money(limit or 0)
            if kind == "line" and self.odds(0.1):
                row["rates"] = [[starts.isoformat(), self.line_rate(starts)]]
            if kind == "account" and self.odds(0.3):
                row["value"] = money(balance + self.dice.choice((0, 5_000, -1)) if balance > 1
                                     else balance)  # fmt: skip
            if number < late:
                continue
            if not found or not self.odds(lose):
                found.append(row)
        return found

    @staticmethod
    def change(row: Row, kind: str) -> int:
        cents = round(float(row["amount"]) * 100)
        if kind == "loan" and row["kind"] == "payment":
            return -round(float(row["principal"]) * 100)
        return -cents if row["kind"] in ("repayment", "prepayment") else cents

    def next_limit(self, before: int | None) -> int:
        """Creeps up as the mortgage falls, with a slip of the lender's now and then."""
        dice = self.dice
        if before is None:
            return self.start_line + dice.choice((0, 2_000_00, 30_000_00))
        return max(0, before + dice.choice((900_00, 900_00, 900_00, 0, -60_00, -50_00, -900_00)))

    def whole(self) -> Row:
        """The household file."""
        self.play()
        statements: list[Row] = []
        for ref in self.loans:
            cycle = self.dice.choice((1, 1, 1, 12))
            statements += self.cut(ref, self.original[ref], cycle, "loan")
        for ref in self.lines:
            self.states_limits = self.dice.choice((0, 0.5, 1))
            cycle = self.dice.choice((1, 1, 1, 16))
            statements += self.cut(ref, self.start_line if ref == "line" else 0, cycle, "line")
        for ref in self.accounts:
            if ref == "inv" or self.odds(0.9):
                holding = self.dice.choice((0, 0, 20_000_00))
                statements += self.cut(ref, holding, 1, "account")
        known = {row["id"] for one in statements for row in one["entries"]}
        if any(
            one["account"] == "line" and one["starts"] == FIRST.isoformat() and self.start_line
            for one in statements
        ):
            known.add("line-opening")  # fmt: skip
        for one in statements:
            for row in one["entries"]:
                if row.get("from") not in known:
                    row.pop("from", None)
        uses = [one for one in self.uses if one["draw"] in known]
        return self.file | {"statements": statements, "uses": uses}


def random_book(seed: int) -> Household:
    """A whole household of random facts; the same seed gives the same one."""
    return household_from_json(Book(seed).whole(), f"book {seed}")
