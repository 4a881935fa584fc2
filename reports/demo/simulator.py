"""Play a household's months the way its lender and its broker would.

The lender charges, posts and limits by its own contract; the household re-borrows
and invests as the plan says except where its profile's lapses say otherwise.
Out comes an ordinary household file: statements, uses and the plan, all of it
invented but the history of prime (planning/data/rates). Nothing here is shown
to the core except through that file.
"""

from __future__ import annotations

import csv
import random
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import planning
from planning.core.amortization import interest_cents, payment_cents, scheduled_dates
from planning.core.household_file import household_from_json
from planning.core.line_interest import posted_interest_cents
from planning.core.money import round_half_up, text_from_cents
from planning.core.months import first_day, last_day, month_of, months_between
from planning.core.rates import periodic_fraction, rate_on
from planning.core.room import limit_cents, opening_excess_cents, principal_to_excess_cents
from planning.core.types import Household
from reports.demo.profiles import FIRST_MONTH, LAST_MONTH, Lapses, Profile

YIELDS = {"eligible_dividend": "0.0260", "foreign": "0.0060", "return_of_capital": "0"}


def prime_history() -> tuple[tuple[date, Decimal], ...]:
    """Prime by the first day it was observed, from the packaged series."""
    path = Path(planning.__file__).parent / "data" / "rates" / "prime.csv"
    with path.open(encoding="utf-8", newline="") as rows:
        return tuple(
            (date.fromisoformat(row["observed_on"]), Decimal(row["prime_rate"]))
            for row in csv.DictReader(rows)
        )


@dataclass(frozen=True, slots=True)
class Played:
    """A household after its months: the whole file, and what was first reported wrong.

    `first_reports` are statements as they first arrived, before the lender
    restated them; the file holds the restated ones.
    """

    profile: Profile
    file: dict[str, Any]
    first_reports: tuple[dict[str, Any], ...]


def base_file(profile: Profile) -> dict[str, Any]:
    """The household file before any month is played: people, contracts and plan."""
    starts = first_day(FIRST_MONTH)
    refs = [f"m{index + 1}" for index in range(len(profile.people))]
    value, mortgage = profile.value * 100, profile.mortgage * 100
    frequency = profile.frequency
    first = date(2024, 6, profile.day)
    terms = [
        {"starts": starts.isoformat(), "matures": profile.matures.isoformat(), "kind": "fixed",
         "rate": profile.rate, "payment": None}
    ]  # fmt: skip
    if profile.static:
        spread, payment = profile.static
        terms = [{"starts": starts.isoformat(), "matures": profile.matures.isoformat(),
                  "kind": "static", "spread": spread,
                  "payment": text_from_cents(payment)}]  # fmt: skip
    renewals = [{"mortgage": "mtg", "on": profile.matures.isoformat(), "rate": "0.0450"}]
    if profile.renewed:
        begins, matures, rate = profile.renewed
        terms.append(
            {"starts": begins.isoformat(), "matures": matures.isoformat(), "kind": "fixed",
             "rate": rate, "payment": None}
        )  # fmt: skip
        renewals = [{"mortgage": "mtg", "on": matures.isoformat(), "rate": "0.0450"}]
    room = profile.reserve + profile.opening_draw + profile.opening_line
    history = prime_history()
    prime = [[day.isoformat(), f"{rate:f}"] for day, rate in history if day >= date(2023, 7, 1)]
    plan_prime = prime
    if profile.lapses.stale_plan:
        plan_prime = [row for row in prime if row[0] < starts.isoformat()]
    registered = (
        [{"ref": "tfsa", "kind": "tfsa", "owners": ["m1"]}] if profile.lapses.registered else []
    )
    marginal = Decimal(profile.marginal)
    file: dict[str, Any] = {
        "format": "towpath/household",
        "version": 1,
        "household": {"ref": profile.ref, "name": profile.name, "province": profile.province,
                      "advisor": None},
        "members": [
            {"ref": ref, "name": f"{one.name}", "province": profile.province, "born": one.born,
             "income": {"2025": text_from_cents(one.income * 100)}}
            for ref, one in zip(refs, profile.people, strict=True)
        ],
        "facility": {
            "lender_value": text_from_cents(value), "valued_on": "2024-04-12",
            "registered_limit": text_from_cents(mortgage + room * 100), "revolving_cap": "0.65",
            "line_cap": text_from_cents(round_half_up(Fraction(value * 65, 100))),
            "excess_rule": "excess-first", "capitalised_interest": "compounding",
            "interest_method": "paid",
        },
        "mortgages": [{
            "ref": "mtg", "original_principal": text_from_cents(mortgage),
            "first_payment": first.isoformat(), "amortization_months": profile.months,
            "frequency": frequency, "compounding": "semi-annual", "biweekly_basis": "annuity",
            "prepayment_privilege": "0.15", "borrowers": refs, "terms": terms,
        }],
        "lines": [{"ref": "line", "day_basis": 365, "spread": profile.spread,
                   "borrowers": ["m1"], "payer": profile.payer, "claimant": "m1"}],
        "investments": [
            {"ref": "inv", "kind": "non-registered", "owners": ["m1"]},
            *registered,
        ],
        "prime": prime,
        "statements": [],
        "uses": [],
        "plan": {
            "starts": starts.isoformat(), "months": profile.months,
            "opening": {"mtg": text_from_cents(mortgage),
                        "line": text_from_cents(profile.opening_line * 100),
                        "inv": text_from_cents(profile.holding * 100)},
            "prime": plan_prime, "renewals": renewals,
            "reborrow": {"share": "1", "line": "line", "into": "inv",
                         "opening_draw": text_from_cents(profile.opening_draw * 100),
                         "reserve": text_from_cents(profile.reserve * 100)},
            "line_interest": "from-cash",
            "investment": {"growth": "0.0320",
                           "yields": {**dict.fromkeys(("other_dividend", "interest",
                                                       "capital_gain"), "0"), **YIELDS},
                           "distributions": profile.distributions},
            "refund": "prepay", "refund_month": 5,
            "marginal": {"ordinary": profile.marginal,
                         "eligible_dividend": f"{marginal * Decimal('0.58'):.4f}",
                         "other_dividend": f"{marginal * Decimal('0.83'):.4f}",
                         "interest": profile.marginal, "foreign": profile.marginal,
                         "capital_gain": f"{marginal / 2:.4f}"},
            "extras": [], "inflation": "0.02",
        },
    }  # fmt: skip
    if profile.gains:
        file["members"][0]["gains"] = [{"on": on, "amount": cash} for on, cash in profile.gains]
    known = {"assessments": [*profile.assessments], "disclosures": [*profile.disclosures]}
    suitability = {key: value for key, value in known.items() if value}
    return file | ({"suitability": suitability} if suitability else {})


def play(profile: Profile, refunds: dict[int, int]) -> Played:
    """Play every month. `refunds` gives the plan's refund in cents by the year it is paid."""
    file = base_file(profile)
    household = household_from_json(file, profile.ref)
    run = _Run(profile, household, refunds)
    for month in months_between(FIRST_MONTH, LAST_MONTH):
        run.month(month)
    file["statements"] = run.statements
    file["uses"] = run.uses
    return Played(profile, file, tuple(run.first_reports))


class _Run:
    """One household's accounts as they stand, and the statements so far."""

    def __init__(self, profile: Profile, household: Household, refunds: dict[int, int]) -> None:
        self.profile = profile
        self.lapses: Lapses = profile.lapses
        self.household = household
        self.refunds = refunds
        self.dice = random.Random(profile.ref)
        self.mortgage = household.mortgages[0]
        self.balance = self.mortgage.original_principal_cents
        self.line = profile.opening_line * 100
        self.value = profile.holding * 100
        self.excess = opening_excess_cents(household.facility, self.balance, self.line)
        self.held_cash = 0
        self.registered = 0
        self.payment: dict[str, int] = {}
        self.statements: list[dict[str, Any]] = []
        self.uses: list[dict[str, Any]] = []
        self.first_reports: list[dict[str, Any]] = []
        self.stated_limit = self.limit()
        self.posted_on = first_day(FIRST_MONTH)
        self.line_opening_shift = 0
        self.late_money: list[tuple[date, int, str]] = []

    # -- the contract ---------------------------------------------------------

    def limit(self) -> int:
        return limit_cents(self.household.facility, self.balance, self.excess)

    def allowed(self, month: str) -> int:
        """The limit the lender applies: the stated one where it has stopped following."""
        frozen, cut = self.lapses.limit_frozen_from, self.lapses.limit_cut
        stopped = (frozen is not None and month >= frozen) or (cut is not None and month > cut[0])
        return min(self.limit(), self.stated_limit) if stopped else self.limit()

    def term_rate(self, day: date) -> Decimal:
        """The rate of a payment: a renewal's first payment is still at the old rate."""
        first = self.mortgage.terms[0]
        if first.spread is not None:
            prime = rate_on(self.household.prime, day)
            assert prime is not None
            return prime + first.spread
        rate = first.rate_annual
        for before, term in zip(self.mortgage.terms, self.mortgage.terms[1:], strict=False):
            crossing = scheduled_dates(
                self.mortgage, before.matures, before.matures + timedelta(62)
            )
            if day > crossing[0]:
                rate = term.rate_annual
        assert rate is not None
        return rate

    def level_payment(self, day: date) -> int:
        if self.profile.static:
            return self.profile.static[1]
        rate = self.term_rate(day)
        key = f"{rate}"
        if key not in self.payment:
            done = len(scheduled_dates(self.mortgage, self.mortgage.first_payment, day)) - 1
            per_year = 26 if "biweekly" in self.mortgage.frequency else 12
            whole = Fraction(self.mortgage.amortization_months * per_year, 12)
            self.payment[key] = payment_cents(
                self.balance, rate, self.mortgage.compounding, self.mortgage.frequency,
                self.mortgage.biweekly_basis, whole - done,
            )  # fmt: skip
        return self.payment[key]

    def pay_down(self, principal: int) -> int:
        """Principal off the mortgage; returns the room it freed."""
        rule = self.household.facility.excess_rule
        sent = principal_to_excess_cents(rule, principal, self.excess, self.balance)
        self.excess -= sent
        self.balance -= principal
        return principal - sent

    # -- a month ----------------------------------------------------------------

    def month(self, month: str) -> None:
        starts, ends = first_day(month), last_day(month)
        opening = (self.balance, self.line, self.value)
        entries: dict[str, list[dict[str, Any]]] = {"mtg": [], "line": [], "inv": [], "tfsa": []}
        freed_on: dict[date, int] = defaultdict(int)
        nights: list[tuple[date, int]] = [(starts, self.line)]
        if month == FIRST_MONTH and self.profile.opening_line:
            self.use("line-opening", self.line, "personal")
        if month == FIRST_MONTH and self.profile.opening_draw:
            freed_on[starts] += self.profile.opening_draw * 100
        for day in scheduled_dates(self.mortgage, starts, ends):
            if month in self.lapses.skipped_payment:
                continue
            freed_on[day] += self.pay(day, entries["mtg"])
        self.invest_returns(month, ends, entries)
        for day in sorted(freed_on):
            self.draw(month, day, freed_on[day], entries, nights)
        self.other_draws(month, entries, nights)
        self.arrive_late(ends, entries["inv"])
        self.post_interest(month, ends, entries["line"], nights)
        self.write(month, opening, entries)

    def pay(self, day: date, entries: list[dict[str, Any]]) -> int:
        rate = self.term_rate(day)
        periodic = periodic_fraction(rate, self.mortgage.compounding, self.mortgage.frequency)
        payment = self.level_payment(day)
        interest = interest_cents(self.balance, periodic)
        principal = min(payment - interest, self.balance)
        entries.append({"id": f"mtg-{day}-p", "date": day.isoformat(), "kind": "payment",
                        "amount": text_from_cents(interest + principal),
                        "interest": text_from_cents(interest),
                        "principal": text_from_cents(principal)})  # fmt: skip
        freed = self.pay_down(principal)
        extra = 0 if month_of(day) in self.lapses.distributions_kept else self.held_cash
        extra += dict(self.lapses.prepaid).get(month_of(day), 0)
        self.held_cash = 0
        first_in_may = day.month == 5 and not any(one["kind"] == "prepayment" for one in entries)
        if first_in_may and day.year not in self.lapses.refund_kept:
            extra += max(0, self.refunds.get(day.year, 0))
        if extra:
            entries.append({"id": f"mtg-{day}-x", "date": day.isoformat(), "kind": "prepayment",
                            "amount": text_from_cents(extra)})  # fmt: skip
            freed += self.pay_down(extra)
        return freed

    def draw(
        self, month: str, day: date, freed: int, entries: dict[str, list[dict[str, Any]]],
        nights: list[tuple[date, int]],
    ) -> None:  # fmt: skip
        """Re-borrow what was freed and invest it, as far as this month's story goes."""
        if not freed or month in self.lapses.missed:
            return
        when = day + timedelta(12) if month in self.lapses.late else day
        amount = min(freed, max(0, self.allowed(month) - self.line))
        if amount <= 0:
            return
        self.book_draw(when, amount, entries["line"], nights)
        draw_id = entries["line"][-1]["id"]
        if month in self.lapses.no_use:
            self.contribute(when + timedelta(1), amount, draw_id, entries["inv"])
            return
        split: dict[str, Any] = {"amount": text_from_cents(amount), "use": "income-investment",
                                 "to": "inv", "evidence": [f"confirmation-{draw_id}"]}  # fmt: skip
        if month in self.lapses.registered:
            split |= {"use": "registered-plan", "to": "tfsa"}
            entries["tfsa"].append({"id": f"tfsa-{when}", "date": (when + timedelta(1)).isoformat(),
                                    "kind": "contribution", "amount": split["amount"],
                                    "from": draw_id})  # fmt: skip
        elif month in self.lapses.unsupported:
            split["evidence"] = []
        elif month in self.lapses.idle:
            self.late_money.append((when + timedelta(9), amount, draw_id))
        else:
            self.contribute(when + timedelta(1), amount, draw_id, entries["inv"])
        self.uses.append({"draw": draw_id, "splits": [split]})

    def other_draws(
        self, month: str, entries: dict[str, list[dict[str, Any]]], nights: list[tuple[date, int]]
    ) -> None:
        for when, cents in self.lapses.personal:
            if when == month:
                day = first_day(month) + timedelta(17)
                self.book_draw(day, cents, entries["line"], nights)
                self.use(entries["line"][-1]["id"], cents, "personal")

    def use(self, draw: str, cents: int, use: str) -> None:
        split = {"amount": text_from_cents(cents), "use": use, "evidence": []}
        self.uses.append({"draw": draw, "splits": [split]})

    def book_draw(
        self, day: date, cents: int, entries: list[dict[str, Any]], nights: list[tuple[date, int]]
    ) -> None:
        number = sum(1 for one in entries if one["kind"] == "draw") + 1
        entries.append({"id": f"line-{month_of(day)}-{number}", "date": day.isoformat(),
                        "kind": "draw", "amount": text_from_cents(cents)})  # fmt: skip
        self.line += cents
        nights.append((day, self.line))

    def contribute(self, day: date, cents: int, source: str, entries: list[dict[str, Any]]) -> None:
        if day > last_day(month_of(day - timedelta(1))):
            self.late_money.append((day, cents, source))
            return
        self.book_contribution(day, cents, source, entries)

    def book_contribution(
        self, day: date, cents: int, source: str, entries: list[dict[str, Any]]
    ) -> None:
        entries.append({"id": f"inv-{source}", "date": day.isoformat(), "kind": "contribution",
                        "amount": text_from_cents(cents), "from": source})  # fmt: skip
        self.value += cents

    def arrive_late(self, ends: date, entries: list[dict[str, Any]]) -> None:
        """Money drawn earlier that reaches the account in this month."""
        waiting = self.late_money
        self.late_money = [one for one in waiting if one[0] > ends]
        for day, cents, source in waiting:
            if day <= ends:
                self.book_contribution(day, cents, source, entries)

    def invest_returns(
        self, month: str, ends: date, entries: dict[str, list[dict[str, Any]]]
    ) -> None:
        """Price change, distributions, and the stories about what left the account."""
        before = self.value
        change = self.dice.gauss(0.0055, 0.011)
        if month in self.lapses.market_fall:
            change = -0.11
        self.value += round_half_up(Fraction(before) * Fraction(f"{change:.6f}"))
        leaks = month in self.lapses.return_of_capital_spent
        for kind, rate in YIELDS.items():
            cents = round_half_up(Fraction(before) * Fraction(rate) / 12)
            if kind == "return_of_capital" and leaks:
                cents = round_half_up(Fraction(before) * Fraction("0.05") / 12)
            if not cents:
                continue
            reinvests = self.profile.distributions == "reinvest" and kind != "return_of_capital"
            row = {"id": f"inv-{month}-{kind}", "date": ends.isoformat(), "kind": "distribution",
                   "amount": text_from_cents(cents), "of": kind,
                   "paid": "reinvested" if reinvests else "cash"}  # fmt: skip
            entries["inv"].append(row)
            if reinvests:
                self.value += cents
            else:
                to, of = (
                    ("personal", kind) if kind == "return_of_capital" else ("mortgage", "income")
                )
                if to == "mortgage":
                    self.held_cash += cents
                entries["inv"].append({"id": f"inv-{month}-{kind}-out", "date": ends.isoformat(),
                                       "kind": "withdrawal", "amount": text_from_cents(cents),
                                       "of": of, "to": to})  # fmt: skip
        for when, cents in self.lapses.sale_spent:
            if when == month:
                day = first_day(month) + timedelta(19)
                fraction = round(Fraction(cents, before), 4)
                entries["inv"].append({"id": f"inv-{month}-sale", "date": day.isoformat(),
                                       "kind": "withdrawal", "amount": text_from_cents(cents),
                                       "of": "proceeds", "to": "personal",
                                       "cost_fraction": f"{float(fraction):.4f}"})  # fmt: skip
                self.value -= cents

    def post_interest(
        self, month: str, ends: date, entries: list[dict[str, Any]], nights: list[tuple[date, int]]
    ) -> None:
        """The lender's posting on the month's last day, paid from cash the same day."""
        stretches = self.stretches(ends, nights)
        cents = posted_interest_cents(stretches, "365")
        cents += dict(self.lapses.wrong_interest).get(month, 0)
        self.posted_on = ends
        if not cents:
            return
        unpaid = month in self.lapses.interest_unpaid
        self.line += cents if unpaid else 0
        entries.extend(
            {"id": f"line-{month}-{kind}", "date": ends.isoformat(), "kind": kind,
             "amount": text_from_cents(cents)}
            for kind in (("interest",) if unpaid else ("interest", "repayment"))
        )  # fmt: skip

    def stretches(
        self, ends: date, nights: list[tuple[date, int]]
    ) -> list[tuple[date, date, int, Decimal]]:
        opening = nights[0][1]
        marks: list[tuple[date, int]] = [(self.posted_on, opening), *sorted(nights[1:])]
        found: list[tuple[date, date, int, Decimal]] = []
        for index, (day, balance) in enumerate(marks):
            until = marks[index + 1][0] if index + 1 < len(marks) else ends
            at = day
            while at < until:
                following = min(
                    [until, *(one for one, _ in self.household.prime if at < one < until)]
                )
                rate = rate_on(self.household.prime, at)
                assert rate is not None
                spread = self.household.lines[0].spread
                found.append((at, following, balance, rate + spread))
                at = following
        return found

    # -- paper ---------------------------------------------------------------------

    def write(
        self, month: str, opening: tuple[int, int, int], entries: dict[str, list[dict[str, Any]]]
    ) -> None:
        starts, ends = first_day(month), last_day(month)
        frozen = self.lapses.limit_frozen_from
        cut = self.lapses.limit_cut
        if cut and month >= cut[0]:
            self.stated_limit = self.line - cut[1]
        elif frozen is None or month < frozen:
            self.stated_limit = self.limit()
        shift = dict(self.lapses.broken_opening).get(month, 0)
        shown = {
            "mtg": (opening[0], self.balance),
            "line": (opening[1] + shift, self.line),
            "inv": (opening[2], self.value),
        }
        if entries["tfsa"] or self.registered:
            before = self.registered
            self.registered += sum(round(Decimal(one["amount"]) * 100) for one in entries["tfsa"])
            shown["tfsa"] = (before, self.registered)
        for account, (first, last) in shown.items():
            if (account, month) in self.lapses.missing:
                continue
            rates: list[list[str]] = []
            if account == "line":
                rates = self.stated_rates(starts, ends)
            rows = sorted(entries[account], key=lambda one: one["date"])
            statement: dict[str, Any] = {
                "account": account, "starts": starts.isoformat(), "ends": ends.isoformat(),
                "opening": text_from_cents(first), "closing": text_from_cents(last),
                "limit": text_from_cents(self.stated_limit) if account == "line" else None,
                "value": text_from_cents(last) if account in ("inv", "tfsa") else None,
                "rates": rates, "entries": rows,
            }  # fmt: skip
            if account == "line" and self.lapses.restated == month:
                self.first_reports.append(_before_restatement(statement))
            self.statements.append(statement)

    def stated_rates(self, starts: date, ends: date) -> list[list[str]]:
        spread = self.household.lines[0].spread
        days = [starts, *(day for day, _ in self.household.prime if starts < day <= ends)]
        return [
            [day.isoformat(), f"{(rate_on(self.household.prime, day) or Decimal(0)) + spread:f}"]
            for day in days
        ]


def _before_restatement(statement: dict[str, Any]) -> dict[str, Any]:
    """The same statement as it first arrived: one draw reported 100.00 short."""
    first = {**statement, "entries": [dict(one) for one in statement["entries"]]}
    for entry in first["entries"]:
        if entry["kind"] == "draw":
            entry["amount"] = text_from_cents(round(Decimal(entry["amount"]) * 100) - 10000)
            break
    closing = round(Decimal(statement["closing"]) * 100) - 10000
    first["closing"] = text_from_cents(int(closing))
    return first
