"""The plan walked one night at a time, in exact fractions: slow, plain, and the oracle.

Written from the rules alone, it shares no code with the plan's engine but the
household's types, so that an agreement to the cent says something.
"""

from __future__ import annotations

import calendar
import math
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

from planning.core.types import Household, Mortgage

PER_YEAR = {
    "monthly": 12,
    "semi-monthly": 24,
    "biweekly": 26,
    "weekly": 52,
    "accelerated-biweekly": 26,
    "accelerated-weekly": 52,
}
TIMES = {"semi-annual": 2, "monthly": 12, "annual": 1}
E, U, N = range(3)


def half_up(value: Fraction) -> int:
    whole = math.floor(abs(value) + Fraction(1, 2))
    return whole if value >= 0 else -whole


def share(amount: int, weights: list[Fraction]) -> list[int]:
    total = sum(weights)
    if not total:
        return [0] * (len(weights) - 1) + [amount]
    exact = [Fraction(amount) * weight / total for weight in weights]
    parts = [math.floor(one) for one in exact]
    order = sorted(range(len(parts)), key=lambda k: (-(exact[k] - parts[k]), k))
    for k in order[: amount - sum(parts)]:
        parts[k] += 1
    return parts


def to_power(base: Fraction, exponent: Fraction) -> Fraction:
    with localcontext() as context:
        context.prec = 70
        top = Decimal(base.numerator) / Decimal(base.denominator)
        power = Decimal(exponent.numerator) / Decimal(exponent.denominator)
        result = top**power
    with localcontext() as context:
        context.prec = 45
        return Fraction(+result)


def periodic(mortgage: Mortgage, rate: Decimal, p: int) -> Fraction:
    k = TIMES[mortgage.compounding]
    if k == p:
        return Fraction(rate) / k
    return to_power(1 + Fraction(rate) / k, Fraction(k, p)) - 1


def level(mortgage: Mortgage, balance: int, rate: Decimal, n: Fraction) -> int:
    p = PER_YEAR[mortgage.frequency]
    part = Fraction(1)
    if mortgage.frequency.startswith("accelerated"):
        part = Fraction(1, 2) if p == 26 else Fraction(1, 4)
        p, n = 12, n * 12 / p
    elif mortgage.biweekly_basis == "annual-total" and p != 12:
        part = Fraction(12, p)
        p, n = 12, n * 12 / p
    i = periodic(mortgage, rate, p)
    if i == 0:
        return half_up(balance / n * part)
    return half_up(balance * i / (1 - to_power(1 + i, -n)) * part)


def schedule(mortgage: Mortgage, until: date) -> list[date]:
    dates: list[date] = []
    first = mortgage.first_payment
    k = 0
    while True:
        if mortgage.frequency in ("monthly", "semi-monthly"):
            months = k if mortgage.frequency == "monthly" else k // 2
            late = 15 if mortgage.frequency == "semi-monthly" and k % 2 else 0
            year, month = divmod(first.year * 12 + first.month - 1 + months, 12)
            size = calendar.monthrange(year, month + 1)[1]
            day = date(year, month + 1, min(first.day + late, size))
        else:
            day = first + timedelta(
                days=k
                * (7 if "weekly" in mortgage.frequency and "bi" not in mortgage.frequency else 14)
            )
        if day > until:
            return dates
        dates.append(day)
        k += 1


class Loan:
    def __init__(self, household: Household, mortgage: Mortgage, until: date, prime: Any) -> None:
        plan = household.plan
        assert plan is not None
        self.m, self.starts, self.prime = mortgage, plan.starts, prime
        self.balance = dict(plan.opening)[mortgage.ref]
        self.dates = schedule(mortgage, until)
        self.n = Fraction(mortgage.amortization_months * PER_YEAR[mortgage.frequency], 12)
        events: list[tuple[date, int, Any]] = []
        for before, term in zip(mortgage.terms, mortgage.terms[1:], strict=False):
            events.append(
                (
                    before.matures,
                    0,
                    (term.kind, term.rate_annual, term.spread, term.payment_cents, term.starts),
                )
            )
        events += [
            (one.on, 1, ("fixed", one.rate_annual, None, None, one.on))
            for one in plan.renewals
            if one.mortgage == mortgage.ref
        ]
        events.sort(key=lambda e: e[:2])
        self.events = events
        first = mortgage.terms[0]
        self.term = (first.kind, first.rate_annual, first.spread, first.payment_cents, first.starts)
        original = True
        past = [d for d in self.dates if d < plan.starts]
        while self.events and any(d >= self.events[0][0] for d in past):
            self.term = self.events.pop(0)[2]
            original = False
        kind, _, _, payment, since = self.term
        self.payment = payment
        self.last_rate = None
        if kind == "adjustable" and payment is not None:
            self.last_rate = self.rate(max(since, plan.starts))
        if payment is None and kind != "adjustable" and self.balance:
            rate = self.rate(since)
            if original:
                self.payment = level(mortgage, mortgage.original_principal_cents, rate, self.n)
            else:
                self.payment = level(mortgage, self.balance, rate, self.n - len(past))
        self.prepaid: dict[int, int] = defaultdict(int)

    def rate(self, day: date) -> Decimal:
        return self.term[1] if self.term[0] == "fixed" else self.prime(day) + self.term[2]

    def pay(self, day: date) -> tuple[int, int]:
        number = self.dates.index(day)
        while self.events and any(d >= self.events[0][0] for d in self.dates[:number]):
            self.term = self.events.pop(0)[2]
            self.payment = self.term[3]
            self.last_rate = None
            if self.term[0] == "adjustable" and self.payment is not None:
                self.last_rate = self.rate(max(self.term[4], self.starts))
        rate = self.rate(day)
        interest = half_up(self.balance * periodic(self.m, rate, PER_YEAR[self.m.frequency]))
        if self.payment is None or (self.term[0] == "adjustable" and rate != self.last_rate):
            left = self.n - number
            self.payment = (
                level(self.m, self.balance, rate, left) if left > 0 else self.balance + interest
            )
        self.last_rate = rate
        owed = self.balance + interest
        paid = min(self.payment, owed)
        if number + 1 >= math.ceil(self.n) and owed < 2 * self.payment:
            paid = owed
        self.balance -= paid - interest
        return paid, interest

    def prepay(self, day: date, amount: int) -> int:
        most = half_up(Fraction(self.m.prepayment_privilege) * self.m.original_principal_cents)
        taken = max(0, min(amount, most - self.prepaid[day.year], self.balance))
        self.prepaid[day.year] += taken
        self.balance -= taken
        return taken


class Account:
    def __init__(self, value: int, own: int) -> None:
        self.value, self.own, self.open = value, own, value


class Credit:
    def __init__(self, classes: list[int], targets: dict[str, int]) -> None:
        self.p, self.targets = list(classes), dict(targets)
        self.posts: list[list[list[int]]] = []
        self.nights: list[tuple[date, list[int], list[int], Decimal]] = []

    def unpaid(self) -> list[int]:
        return [sum(s[c] + k[c] for s, k in self.posts) for c in range(3)]

    def balance(self) -> int:
        return sum(self.p) + sum(self.unpaid())

    def settle(self, amount: int) -> tuple[list[int], int]:
        by_class, compound = [0, 0, 0], 0
        for simple, extra in self.posts:
            owed = [Fraction(simple[c] + extra[c]) for c in range(3)]
            part = min(amount, int(sum(owed)))
            amount -= part
            for c, paid in enumerate(share(part, owed) if part else [0, 0, 0]):
                first = min(paid, simple[c])
                simple[c] -= first
                extra[c] -= paid - first
                by_class[c] += paid
                compound += paid - first if c == E else 0
        assert amount == 0
        return by_class, compound


def walk(  # noqa: C901 - one long walk, read from top to bottom like the rules
    household: Household,
    openings: dict[str, tuple[list[int], dict[str, int]]] | None = None,
) -> list[dict[str, Any]]:
    """The plan's month rows as dictionaries of cents, flat tax rates only."""
    plan, facility = household.plan, household.facility
    assert plan is not None
    assert plan.marginal is not None
    months = []
    year, month = plan.starts.year, plan.starts.month
    for _ in range(plan.months):
        months.append((year, month))
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
    until = date(*months[-1], calendar.monthrange(*months[-1])[1])

    def prime(day: date) -> Decimal:
        own = [rate for when, rate in plan.prime if when <= day]
        return own[-1] if own else [rate for when, rate in household.prime if when <= day][-1]

    loans = [
        Loan(household, one, until + timedelta(days=400), prime) for one in household.mortgages
    ]
    given = dict(plan.opening)
    lines = {
        one.ref: Credit(*(openings or {}).get(one.ref, ([0, given.get(one.ref, 0), 0], {})))
        for one in household.lines
    }
    accounts = {
        one.ref: Account(
            given.get(one.ref, 0),
            max(
                0,
                given.get(one.ref, 0)
                - sum(line.targets.get(one.ref, 0) for line in lines.values()),
            ),
        )
        for one in household.investments
        if one.kind == "non-registered"
    }
    cap65 = half_up(Fraction(facility.revolving_cap) * facility.lender_value_cents)
    state: dict[str, Any] = {
        "A": max(
            0,
            sum(one.balance for one in loans)
            + sum(one.balance() for one in lines.values())
            - cap65,
        ),
        "held": 0,
    }
    from_draw = plan.line_interest == "from-line" and facility.capitalised_interest == "compounding"
    by_advance = (
        plan.line_interest == "from-line" and facility.capitalised_interest != "compounding"
    )
    payable = facility.interest_method == "payable"
    savings: dict[int, int] = {}
    income: dict[str, int] = defaultdict(int)
    deducted = 0
    rows: list[dict[str, Any]] = []

    def total() -> int:
        return sum(one.balance for one in loans)

    def owed() -> int:
        return sum(one.balance() for one in lines.values())

    def limit() -> int:
        top = min(facility.registered_limit_cents, cap65 + state["A"])
        return max(0, min(facility.line_cap_cents, cap65, top - total()))

    def room() -> int:
        return max(0, limit() - owed())

    def to_excess(principal: int, before: int) -> int:
        if principal <= 0 or not state["A"] or facility.excess_rule == "none":
            return 0
        sent = min(principal, state["A"])
        if facility.excess_rule == "proportional":
            sent = min(state["A"], half_up(Fraction(principal * state["A"], before)))
        state["A"] -= sent
        return sent

    def prepay(day: date, amount: int, row: dict[str, Any]) -> int:
        freed = 0
        for one in loans:
            before = total()
            taken = one.prepay(day, amount)
            amount -= taken
            row["prepayment"] += taken
            freed += taken - to_excess(taken, before)
        row["refused"] += amount
        return freed

    for year, month in months:
        row: dict[str, Any] = defaultdict(int)
        row["month"] = f"{year:04d}-{month:02d}"
        row["mortgage_opening"], row["line_opening"] = total(), owed()
        refund = savings.get(year - 1) if month == plan.refund_month else None
        dammed = False
        size = calendar.monthrange(year, month)[1]
        for number in range(1, size + 1):
            day = date(year, month, number)
            freed, paying = 0, False
            for one in loans:
                if day in one.dates and one.balance:
                    paying = True
                    before = total()
                    paid, interest = one.pay(day)
                    row["payment"] += paid
                    row["interest"] += interest
                    row["principal"] += paid - interest
                    freed += max(0, paid - interest) - to_excess(paid - interest, before)
            receipts, damming = 0, False
            if plan.dam and paying and not dammed:
                dammed = damming = True
                receipts = prepay(day, plan.dam.receipts_cents, row)
            if refund is not None and (paying or number == size):
                row["refund"] = refund
                if refund > 0 and plan.refund == "invest":
                    assert plan.reborrow is not None
                    into = accounts[plan.reborrow.into]
                    into.value += refund
                    into.own += refund
                    row["contribution"] += refund
                elif refund > 0 and plan.refund == "prepay" and paying:
                    freed += prepay(day, refund, row)
                elif refund > 0 and plan.refund == "prepay":
                    row["refused"] += refund
                refund = None
            if paying:
                freed += prepay(day, state["held"], row)
                state["held"] = 0
            for extra in plan.extras:
                if extra.on == day:
                    freed += prepay(day, extra.amount_cents, row)
            row["room_freed"] += freed + receipts
            if from_draw:
                for line in lines.values():
                    amount = min(sum(line.unpaid()), room())
                    parts, compound = line.settle(amount)
                    for c in range(3):
                        line.p[c] += parts[c]
                    line.targets["interest"] = line.targets.get("interest", 0) + parts[E]
                    row["interest_draw"] += amount
                    row["line_interest_paid"] += amount
                    row["deductible"] += compound if payable else parts[E]
            drawn_on = plan.reborrow.line if plan.reborrow else next(iter(lines), None)
            if damming:
                amount = min(plan.dam.expenses_cents, room())
                line = lines[drawn_on]
                line.p[E] += amount
                line.targets[plan.dam.kind] = line.targets.get(plan.dam.kind, 0) + amount
                row["dam_draw"] += amount
                receipts = max(0, receipts - amount)
            if plan.reborrow:
                wanted = half_up(Fraction(plan.reborrow.share) * (freed + receipts))
                wanted += plan.reborrow.opening_draw_cents if day == plan.starts else 0
                amount = min(wanted, max(0, room() - plan.reborrow.reserve_cents))
                line, into = lines[plan.reborrow.line], accounts[plan.reborrow.into]
                line.p[E] += amount
                line.targets[plan.reborrow.into] = line.targets.get(plan.reborrow.into, 0) + amount
                into.value += amount
                row["draw"] += amount
                row["contribution"] += amount
            if number == size:
                _post(household, lines, row, by_advance=by_advance, payable=payable)
                _invest(household, lines, accounts, row, income, state)
            for line_ref, line in lines.items():
                spread = next(one.spread for one in household.lines if one.ref == line_ref)
                rate = prime(day) + spread if line.balance() else Decimal(0)
                line.nights.append((day, list(line.p), line.unpaid(), rate))
        row["mortgage_closing"], row["line_closing"] = total(), owed()
        for c, name in enumerate(("eligible", "unsupported", "ineligible")):
            row[name] = sum(line.p[c] + line.unpaid()[c] for line in lines.values())
        row["portfolio_closing"] = sum(one.value for one in accounts.values())
        row["limit"], row["room"] = limit(), room()
        deducted += row["deductible"]
        if month == 12:
            tax = Fraction(plan.marginal.ordinary) * deducted
            for kind, rate in plan.marginal.by_kind:
                tax -= Fraction(rate) * income[kind]
            savings[year] = half_up(tax)
            deducted = 0
            income.clear()
        rows.append(row)
    return rows


def _post(household: Household, lines: Any, row: Any, *, by_advance: bool, payable: bool) -> None:
    plan = household.plan
    assert plan is not None
    for ref, line in lines.items():
        basis = next(one.day_basis for one in household.lines if one.ref == ref)
        money = Fraction(0)
        weight, inside = [Fraction(0)] * 3, [Fraction(0)] * 3
        for day, principal, unpaid, rate in line.nights:
            year_days = 366 if basis == "actual" and calendar.isleap(day.year) else 365
            money += (sum(principal) + sum(unpaid)) * Fraction(rate) / year_days
            for c in range(3):
                weight[c] += Fraction(rate) * (principal[c] + unpaid[c])
                inside[c] += Fraction(rate) * unpaid[c]
        line.nights = []
        posted = half_up(money)
        by_class = share(posted, weight)
        compound = [
            half_up(by_class[c] * inside[c] / weight[c]) if weight[c] else 0 for c in range(3)
        ]
        line.posts.append([[by_class[c] - compound[c] for c in range(3)], compound])
        row["line_interest"] += posted
        row["deductible"] += by_class[E] - compound[E] if payable else 0
        if plan.line_interest == "from-line" and not by_advance:
            continue
        amount = sum(line.unpaid())
        parts, late = line.settle(amount)
        row["deductible"] += late if payable else parts[E]
        row["line_interest_paid"] += amount
        if by_advance:
            row["interest_draw"] += amount
            for c in range(3):
                line.p[c] += parts[c]
            line.targets["interest"] = line.targets.get("interest", 0) + parts[E]


def _invest(
    household: Household, lines: Any, accounts: Any, row: Any, income: Any, state: Any
) -> None:
    plan = household.plan
    assert plan is not None
    route = plan.investment.distributions
    monthly = to_power(1 + Fraction(plan.investment.growth_annual), Fraction(1, 12)) - 1
    for ref, account in accounts.items():
        growth = half_up(account.open * monthly)
        account.value += growth
        row["growth"] += growth
        for kind, rate in plan.investment.yields_annual:
            paid = half_up(account.open * Fraction(rate) / 12)
            income[kind] += paid
            row["distribution"] += paid
            if route == "reinvest":
                account.value += paid
                account.own += paid if kind != "return_of_capital" else 0
                continue
            state["held"] += paid if route == "prepay" else 0
            if kind == "return_of_capital":
                linked = [Fraction(line.targets.get(ref, 0)) for line in lines.values()]
                whole = sum(linked) + account.own
                moved = 0
                if whole:
                    moved = min(int(sum(linked)), half_up(sum(linked) / whole * paid))
                account.own = max(0, account.own - (paid - moved))
                if moved:
                    for line, part in zip(lines.values(), share(moved, linked), strict=True):
                        line.targets[ref] = line.targets.get(ref, 0) - part
                        line.p[E] -= part
                        line.p[N] += part
        account.open = account.value
