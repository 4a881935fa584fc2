"""A second plan simulator, day by day and slow, to hold the real one against.

Written apart from planning/core/plan.py and sharing none of its arithmetic
beyond rounding: every day is visited, every night is added, every class is a
plain dict. One fixed-rate mortgage, one line, one account, flat rates.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal, getcontext
from fractions import Fraction

from planning.core.money import prorate, round_half_up
from planning.core.types import Household

getcontext().prec = 60
CLASSES = ("eligible", "unsupported", "ineligible")
PER_YEAR = {"monthly": 12, "semi-monthly": 24, "biweekly": 26, "weekly": 52,
            "accelerated-biweekly": 26, "accelerated-weekly": 52}  # fmt: skip


def power(base: Fraction, exponent: Fraction) -> Fraction:
    """base ** exponent to sixty digits."""
    value = Decimal(base.numerator) / Decimal(base.denominator)
    return Fraction(value ** (Decimal(exponent.numerator) / Decimal(exponent.denominator)))


def period_rate(rate: Decimal, compounding: str, p: int) -> Fraction:
    k = {"semi-annual": 2, "monthly": 12, "annual": 1}[compounding]
    if k == p:
        return Fraction(rate) / p
    return power(1 + Fraction(rate) / k, Fraction(k, p)) - 1


def level_payment(balance: int, rate: Decimal, mortgage: object, remaining: Fraction) -> int:
    frequency, basis = mortgage.frequency, mortgage.biweekly_basis  # type: ignore[attr-defined]
    compounding = mortgage.compounding  # type: ignore[attr-defined]
    p = PER_YEAR[frequency]

    def annuity(i: Fraction, n: Fraction) -> Fraction:
        return Fraction(balance) / n if i == 0 else balance * i / (1 - power(1 + i, -n))

    monthly = annuity(period_rate(rate, compounding, 12), remaining * 12 / p)
    if frequency == "accelerated-biweekly":
        return round_half_up(monthly / 2)
    if frequency == "accelerated-weekly":
        return round_half_up(monthly / 4)
    if frequency == "monthly" or basis == "annuity":
        return round_half_up(annuity(period_rate(rate, compounding, p), remaining))
    return round_half_up(monthly * 12 / p)


def all_dates(mortgage: object, until: date) -> list[date]:
    first = mortgage.first_payment  # type: ignore[attr-defined]
    frequency = mortgage.frequency  # type: ignore[attr-defined]
    found: list[date] = []
    step = 0
    while not found or found[-1] <= until:
        if "weekly" in frequency:
            gap = 14 if "biweekly" in frequency else 7
            found.append(first + timedelta(days=gap * step))
        else:
            halves = 2 if frequency == "semi-monthly" else 1
            months = first.year * 12 + first.month - 1 + step // halves
            year, month = months // 12, months % 12 + 1
            day = first.day + (15 if halves == 2 and step % 2 else 0)
            found.append(date(year, month, min(day, calendar.monthrange(year, month)[1])))
        step += 1
    return found


@dataclass
class State:
    """Everything that moves."""

    mortgage: int
    principal: dict[str, int]
    unpaid: list[dict[str, int]] = field(default_factory=list)
    portfolio: int = 0
    linked: int = 0
    own: int = 0
    excess: int = 0
    waiting: int = 0

    def line(self) -> int:
        return sum(self.principal.values()) + self.owed()

    def owed(self) -> int:
        return sum(sum(posting.values()) for posting in self.unpaid)

    def held(self, c: str) -> int:
        return self.principal[c] + sum(posting[c] for posting in self.unpaid)


def naive_rows(household: Household) -> list[dict[str, int | str]]:  # noqa: C901 - long on purpose
    """The plan's month rows, in cents, by the slow road."""
    plan = household.plan
    assert plan is not None
    facility = household.facility
    (mortgage,) = household.mortgages
    (line,) = household.lines
    opening = dict(plan.opening)
    p = PER_YEAR[mortgage.frequency]
    cap = round_half_up(Fraction(facility.revolving_cap) * facility.lender_value_cents)
    line_cap = min(facility.line_cap_cents, cap)
    reborrow = plan.reborrow
    state = State(
        mortgage=opening[mortgage.ref],
        principal={"eligible": 0, "unsupported": opening.get(line.ref, 0), "ineligible": 0},
        portfolio=opening.get("inv", 0),
        own=opening.get("inv", 0),
        excess=max(0, opening[mortgage.ref] + opening.get(line.ref, 0) - cap),
    )
    months = [
        (plan.starts.year + (plan.starts.month - 1 + k) // 12, (plan.starts.month - 1 + k) % 12 + 1)
        for k in range(plan.months)
    ]
    last = date(*months[-1], calendar.monthrange(*months[-1])[1])
    dates = all_dates(mortgage, last)
    n = Fraction(mortgage.amortization_months * p, 12)
    prime = [*[s for s in household.prime if s[0] < plan.prime[0][0]], *plan.prime]

    # Changes of term: (due date, rate, stated payment); each takes hold after the
    # first scheduled payment on or after its due date.
    changes = [
        (
            mortgage.terms[k - 1].matures,
            mortgage.terms[k].rate_annual,
            mortgage.terms[k].payment_cents,
        )
        for k in range(1, len(mortgage.terms))
    ] + [(one.on, one.rate_annual, None) for one in plan.renewals]
    changes.sort(key=lambda one: one[0])
    term = mortgage.terms[0]
    rate = term.rate_annual
    assert rate is not None
    payment = term.payment_cents or level_payment(
        mortgage.original_principal_cents, rate, mortgage, n
    )
    # Whatever fell due before the start is in force, solved on the opening balance.
    pending: tuple[Decimal, int | None] | None = None
    while changes:
        due = changes[0][0]
        takes = next(d for d in dates if d >= due)
        if takes >= plan.starts:
            break
        _, rate, stated = changes.pop(0)
        assert rate is not None
        left = n - sum(1 for d in dates if d < plan.starts)
        payment = stated or level_payment(state.mortgage, rate, mortgage, left)

    posted_on = plan.starts
    nights: dict[str, Fraction] = dict.fromkeys(CLASSES, Fraction(0))
    amount = Fraction(0)
    year_prepaid: dict[int, int] = {}
    saving_due: dict[int, int] = {}
    deducted: dict[int, int] = {}
    income: dict[int, dict[str, int]] = {}
    refund_done: set[int] = set()
    rows: list[dict[str, int | str]] = []

    def limit() -> int:
        whole = min(facility.registered_limit_cents, cap + state.excess)
        return max(0, min(line_cap, whole - state.mortgage))

    def room() -> int:
        return max(0, limit() - state.line())

    def to_excess(part: int) -> int:
        if part <= 0 or state.excess == 0 or facility.excess_rule == "none":
            return 0
        if facility.excess_rule == "excess-first":
            return min(part, state.excess)
        return min(state.excess, round_half_up(Fraction(part * state.excess, state.mortgage)))

    def lower(part: int) -> int:
        sent = to_excess(part)
        state.excess -= sent
        state.mortgage -= part
        return max(0, part) - sent

    def prepay(day: date, wanted: int) -> tuple[int, int, int]:
        privilege = round_half_up(
            Fraction(mortgage.prepayment_privilege) * mortgage.original_principal_cents
        )
        left = privilege - year_prepaid.get(day.year, 0)
        taken = max(0, min(wanted, left, state.mortgage))
        year_prepaid[day.year] = year_prepaid.get(day.year, 0) + taken
        freed = lower(taken) if taken else 0
        return taken, wanted - taken, freed

    for year, month in months:
        first = date(year, month, 1)
        end = date(year, month, calendar.monthrange(year, month)[1])
        row: dict[str, int | str] = dict.fromkeys(
            ("payment", "interest", "principal", "prepayment", "room_freed", "draw",
             "interest_draw", "line_interest", "line_interest_paid", "contribution", "growth",
             "distribution", "refund", "refused", "deductible"), 0)  # fmt: skip
        row["month"] = f"{year:04d}-{month:02d}"
        row["mortgage_opening"] = state.mortgage
        row["line_opening"] = state.line()
        account_opening = state.portfolio

        def add(key: str, cents: int, row: dict[str, int | str] = row) -> None:
            row[key] = int(row[key]) + cents

        day = first
        while day <= end:
            freed = 0
            scheduled = day in dates and state.mortgage > 0
            if scheduled:
                if pending is not None:
                    rate, stated = pending
                    left = n - dates.index(day)
                    payment = stated or level_payment(state.mortgage, rate, mortgage, left)
                    pending = None
                interest = round_half_up(
                    state.mortgage * period_rate(rate, mortgage.compounding, p)
                )
                number = dates.index(day) + 1
                paid = min(payment, state.mortgage + interest)
                if number >= n and state.mortgage + interest < 2 * payment:
                    paid = state.mortgage + interest
                add("payment", paid)
                add("interest", interest)
                add("principal", paid - interest)
                freed += lower(paid - interest)
                while changes and day >= changes[0][0]:
                    _, new_rate, stated = changes.pop(0)
                    assert new_rate is not None
                    pending = (new_rate, stated)
            if (
                day.month == plan.refund_month
                and day.year - 1 in saving_due
                and day.year not in refund_done
                and (scheduled or (day == end and state.mortgage <= 0))
            ):
                refund_done.add(day.year)
                saving = saving_due[day.year - 1]
                add("refund", saving)
                if saving > 0 and plan.refund == "prepay":
                    taken, refused, more = prepay(day, saving) if scheduled else (0, saving, 0)
                    add("prepayment", taken)
                    add("refused", refused)
                    freed += more
                elif saving > 0 and plan.refund == "invest":
                    add("contribution", saving)
                    state.portfolio += saving
                    state.own += saving
            if scheduled and state.waiting:
                taken, refused, more = prepay(day, state.waiting)
                add("prepayment", taken)
                add("refused", refused)
                freed += more
                state.waiting = 0
            for extra in plan.extras:
                if extra.on == day:
                    taken, refused, more = prepay(day, extra.amount_cents)
                    add("prepayment", taken)
                    add("refused", refused)
                    freed += more
            add("room_freed", freed)
            if plan.line_interest == "from-line" and state.owed():
                left = min(state.owed(), room())
                for posting in state.unpaid:  # the oldest first
                    paid = min(left, sum(posting.values()))
                    left -= paid
                    parts = prorate(paid, [posting[c] for c in CLASSES])
                    for c, part in zip(CLASSES, parts, strict=True):
                        posting[c] -= part
                        state.principal[c] += part
                    add("interest_draw", paid)
                    add("line_interest_paid", paid)
                    add("deductible", parts[0])
                    deducted[day.year] = deducted.get(day.year, 0) + parts[0]
            if reborrow is not None:
                wanted = round_half_up(Fraction(reborrow.share) * freed)
                if day == plan.starts:
                    wanted += reborrow.opening_draw_cents
                drawn = min(wanted, max(0, room() - reborrow.reserve_cents))
                state.principal["eligible"] += drawn
                state.linked += drawn
                state.portfolio += drawn
                add("draw", drawn)
                add("contribution", drawn)
            if day == end:
                weights = [nights[c] for c in CLASSES]
                posted = round_half_up(amount)
                parts = prorate(posted, weights)
                state.unpaid.append(dict(zip(CLASSES, parts, strict=True)))
                nights = dict.fromkeys(CLASSES, Fraction(0))
                amount = Fraction(0)
                posted_on = day
                add("line_interest", posted)
                if plan.line_interest == "from-cash":
                    state.unpaid = []
                    add("line_interest_paid", posted)
                    add("deductible", parts[0])
                    deducted[year] = deducted.get(year, 0) + parts[0]
                invest = plan.investment
                growth = round_half_up(
                    account_opening
                    * (power(1 + Fraction(invest.growth_annual), Fraction(1, 12)) - 1)
                )
                state.portfolio += growth
                add("growth", growth)
                for kind, y in invest.yields_annual:
                    cents = round_half_up(Fraction(account_opening) * Fraction(y) / 12)
                    add("distribution", cents)
                    of_year = income.setdefault(year, {})
                    of_year[kind] = of_year.get(kind, 0) + cents
                    if invest.distributions == "reinvest":
                        state.portfolio += cents
                        if kind != "return_of_capital":
                            state.own += cents
                        continue
                    if invest.distributions == "prepay":
                        state.waiting += cents
                    if kind == "return_of_capital" and cents and state.linked + state.own:
                        phi = Fraction(state.linked, state.linked + state.own)
                        moved = min(state.linked, round_half_up(phi * cents))
                        state.linked -= moved
                        state.own = max(0, state.own - (cents - moved))
                        state.principal["eligible"] -= moved
                        state.principal["ineligible"] += moved
                if month == 12:
                    marginal = plan.marginal
                    assert marginal is not None
                    tax = sum(
                        (
                            Fraction(r) * income.get(year, {}).get(kind, 0)
                            for kind, r in marginal.by_kind
                        ),
                        Fraction(0),
                    )
                    saving_due[year] = round_half_up(
                        Fraction(marginal.ordinary) * deducted.get(year, 0) - tax
                    )
            # The night of this day, at the rate in force tonight.
            tonight = [r for when, r in prime if when <= day][-1] + line.spread
            basis = 366 if line.day_basis == "actual" and calendar.isleap(day.year) else 365
            for c in CLASSES:
                held = state.held(c)
                nights[c] += Fraction(tonight) * held
                amount += Fraction(tonight) * held / basis
            day += timedelta(days=1)
        assert posted_on == end
        row["mortgage_closing"] = state.mortgage
        row["line_closing"] = state.line()
        for c in CLASSES:
            row[c] = state.held(c)
        row["portfolio_closing"] = state.portfolio
        row["limit"] = limit()
        row["room"] = room()
        rows.append(row)
    return rows
