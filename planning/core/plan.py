"""The plan: one simulation by date, in the fixed order of a day.

On each date: (1) mortgage payments in listing order, then the receipts that
are dammed; (2) the refund, the distributions held for prepayment, the
scheduled extras; (3) unpaid line interest by a draw from room, then dammed
expenses; (4) the re-borrow; (5) on the month's last day the line's interest is
posted, and paid when the plan pays from cash; (6) on the last day growth and
distributions of the investment accounts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from fractions import Fraction

from config.problems import BadInput
from planning.core.flat_tax import tax_for
from planning.core.money import prorate, round_ratio
from planning.core.months import last_day, month_of, months_between, shift_month
from planning.core.plan_facility import FacilityRun
from planning.core.plan_investment import AccountRun, Assumptions, MarketPath, sum_kinds
from planning.core.plan_line import LineRun
from planning.core.plan_month import MonthSums
from planning.core.plan_problems import opening_draw_problem, plan_problems
from planning.core.plan_types import (
    OpeningClasses,
    PlanClosing,
    PlanDraw,
    PlanResult,
    PlanRow,
    PlanYear,
    TaxOfYear,
)
from planning.core.types import Household, Plan

SetAside = Callable[[PlanRow], int]


def run_plan(
    household: Household,
    opening_classes: Mapping[str, OpeningClasses] | None = None,
    *,
    tax_of_year: TaxOfYear | None = None,
    file: str = "",
    months: int | None = None,
    set_aside: SetAside | None = None,
    market: MarketPath | None = None,
) -> PlanResult:
    """Play the household's plan out, month by month; empty without a plan.

    `opening_classes` are the traced classes of the lines' opening balances.
    `tax_of_year` replaces the household's own tax (flat rates, else the
    members' returns). `months` stops early. `set_aside` is asked at each
    month's end for further cash to prepay on the next payment date; the
    comparison uses it. `market` gives months their own returns in place of the
    plan's constant ones (a replay of history). Raises BadInput with every fault of the plan found,
    named under `file` (the household's ref when it is not given).
    """
    plan = household.plan
    if plan is None:
        return PlanResult((), (), (), (), (), None)
    file = file or household.ref
    problems = plan_problems(household, file)
    if problems:
        raise BadInput(problems)
    tax = tax_of_year or tax_for(household, file)
    count = plan.months if months is None else min(months, plan.months)
    run = _Simulation(household, plan, opening_classes, tax, count, file, market)
    first = month_of(plan.starts)
    for month in months_between(first, shift_month(first, count - 1)):
        row = run.month(month)
        if set_aside is not None:
            run.held += set_aside(row)
    return run.result()


class _Simulation:
    """The state of one plan run; `month` advances it by one month."""

    def __init__(
        self,
        household: Household,
        plan: Plan,
        opening_classes: Mapping[str, OpeningClasses] | None,
        tax: TaxOfYear,
        months: int,
        file: str,
        market: MarketPath | None,
    ) -> None:
        self.household = household
        self.plan = plan
        self.tax = tax
        self.months = months
        self.file = file
        self.facility = FacilityRun(household, plan, opening_classes, file)
        self.lines = self.facility.lines
        opening = dict(plan.opening)
        assumptions = Assumptions(plan.investment, market)
        self.accounts = [
            AccountRun(one.ref, opening.get(one.ref, 0), self.facility.linked(one.ref), assumptions)
            for one in household.investments
            if one.kind == "non-registered"
        ]
        self.extras = sorted(plan.extras, key=lambda one: one.on)
        reborrow = plan.reborrow
        self.share = Fraction(reborrow.share) if reborrow else Fraction(0)
        self.draw_line = self._line_of(reborrow.line) if reborrow else None
        self.dam_line = self.draw_line or (self.lines[0] if self.lines else None)
        self.into = next(
            (one for one in self.accounts if reborrow and one.ref == reborrow.into), None
        )
        self.by_advance = household.facility.capitalised_interest == "paid-by-advance"
        self.from_cash = plan.line_interest == "from-cash"
        self.held = 0
        self.sums = MonthSums(0, 0, 0)
        self.rows: list[PlanRow] = []
        self.draws: list[PlanDraw] = []
        self.years: list[PlanYear] = []
        self.savings: dict[int, int] = {}
        self.income: dict[str, int] = {}
        self.year_deductible = 0
        self.posted_before = 0

    # -- what stands ------------------------------------------------------------

    def _line_of(self, ref: str) -> LineRun:
        return next(one for one in self.lines if one.ref == ref)

    def _portfolio(self) -> int:
        return sum(one.value for one in self.accounts)

    # -- the month ----------------------------------------------------------------

    def month(self, month: str) -> PlanRow:
        """Play one month and return its row."""
        self.sums = MonthSums(
            self.facility.owed_on_mortgages, self.facility.owed_on_lines(), self._portfolio()
        )
        year, number = int(month[:4]), int(month[5:])
        if number == self.plan.refund_month:
            self.sums.refund_due = self.savings.get(year - 1)
        last = last_day(month)
        day = date(year, number, 1)
        if self.rows and not self._pays_interest_by_draw():
            day = self._next_busy(day, last)
        while True:
            self._day(day)
            if day >= last:
                break
            # A draw is tried again tomorrow while interest is unpaid and room is left.
            again = self._pays_interest_by_draw() and self.facility.room() > 0
            tomorrow = day + timedelta(days=1)
            day = tomorrow if again else self._next_busy(tomorrow, last)
        self._close(last)
        row = self._row(month)
        self.rows.append(row)
        self.year_deductible += row.deductible
        if number == 12 or len(self.rows) == self.months:
            self._close_year(year)
        return row

    def _pays_interest_by_draw(self) -> bool:
        if self.from_cash or self.by_advance:
            return False
        return any(one.unpaid_interest() for one in self.lines)

    def _next_busy(self, since: date, last: date) -> date:
        """The next day from `since` on with a payment or an extra, or the month's last day."""
        busy = self.facility.next_payment(last)
        if self.extras and self.extras[0].on < busy:
            busy = self.extras[0].on
        return max(busy, since)

    # -- the day ------------------------------------------------------------------

    def _day(self, day: date) -> None:
        sums, plan = self.sums, self.plan
        freed, paying = self.facility.pay(day, sums)
        from_receipts = 0
        damming = plan.dam is not None and paying and not sums.dammed
        if plan.dam is not None and damming:
            sums.dammed = True
            from_receipts = self.facility.prepay(day, plan.dam.receipts_cents, sums)
        if paying:
            freed += self._refund(day) + self._spend_held(day)
        while self.extras and self.extras[0].on == day:
            freed += self.facility.prepay(day, self.extras.pop(0).amount_cents, sums)
        sums.room_freed += freed + from_receipts
        if self._pays_interest_by_draw():
            self._draw_interest(day)
        if damming:
            from_receipts = max(0, from_receipts - self._draw_expenses(day))
        self._reborrow(day, freed + from_receipts)

    def _refund(self, day: date | None) -> int:
        """Receive the refund due this month; without a payment day (None) none is prepaid."""
        sums = self.sums
        amount, sums.refund_due = sums.refund_due, None
        if amount is None:
            return 0
        sums.refund += amount
        if amount <= 0 or self.plan.refund == "keep":
            return 0
        if self.plan.refund == "invest":
            assert self.into is not None
            self.into.contribute(amount, own=True)
            sums.contribution += amount
            sums.invested_refund += amount
            return 0
        if day is None:
            sums.refused += amount
            return 0
        return self.facility.prepay(day, amount, sums)

    def _spend_held(self, day: date) -> int:
        held, self.held = self.held, 0
        return self.facility.prepay(day, held, self.sums) if held else 0

    def _draw_interest(self, day: date) -> None:
        """Pay each line's unpaid interest by a draw on itself, as far as room goes."""
        for one in self.lines:
            amount = min(one.unpaid_interest(), self.facility.room())
            if amount:
                self.sums.deductible += one.pay_by_draw(day, amount)
                self._note_interest_draw(day, one, amount)

    def _note_interest_draw(self, day: date, line: LineRun, amount: int) -> None:
        self.sums.interest_draw += amount
        self.sums.line_interest_paid += amount
        self.draws.append(PlanDraw(day, line.ref, amount, "interest"))

    def _draw_expenses(self, day: date) -> int:
        dam, line = self.plan.dam, self.dam_line
        assert dam is not None
        assert line is not None
        amount = min(dam.expenses_cents, self.facility.room())
        if amount:
            line.draw(day, amount, dam.kind)
            self.sums.dam_draw += amount
            self.draws.append(PlanDraw(day, line.ref, amount, "dam"))
        return amount

    def _reborrow(self, day: date, freed: int) -> None:
        """min(round(share x room freed today) + opening draw, room beyond the reserve)."""
        plan, line = self.plan, self.draw_line
        if plan.reborrow is None or line is None or self.into is None:
            return
        if not freed and day != plan.starts:
            return
        opening = plan.reborrow.opening_draw_cents if day == plan.starts else 0
        wanted = round_ratio(self.share.numerator * freed, self.share.denominator) + opening
        if not wanted:
            return
        room = self.facility.room()
        if opening > room:
            raise BadInput([opening_draw_problem(self.file, opening, room)])
        amount = min(wanted, max(0, room - plan.reborrow.reserve_cents))
        if not amount:
            return
        line.draw(day, amount, self.into.ref)
        self.into.contribute(amount, own=False)
        self.sums.draw += amount
        self.sums.contribution += amount
        first = min(opening, amount)
        if first:
            self.draws.append(PlanDraw(day, line.ref, first, "opening"))
        if amount - first:
            self.draws.append(PlanDraw(day, line.ref, amount - first, "reborrow"))

    # -- the last day -----------------------------------------------------------------

    def _close(self, last: date) -> None:
        self._refund(None)
        for line in self.lines:
            self._post(line, last)
        for account in self.accounts:
            self._close_account(account, last)

    def _post(self, line: LineRun, last: date) -> None:
        sums = self.sums
        posted, deductible = line.post(last)
        sums.line_interest += posted
        sums.deductible += deductible
        unpaid = line.unpaid_interest()
        if self.from_cash and unpaid:
            sums.deductible += line.pay_from_cash(last, unpaid)
            sums.line_interest_paid += unpaid
        elif self.by_advance and unpaid:
            sums.deductible += line.pay_by_draw(last, unpaid)
            self._note_interest_draw(last, line, unpaid)

    def _close_account(self, account: AccountRun, last: date) -> None:
        sums = self.sums
        growth, paid = account.close_month(month_of(last))
        total = sum(paid.values())
        sums.growth += growth
        sums.distribution += total
        sum_kinds(self.income, paid)
        if self.plan.investment.distributions == "reinvest":
            sums.reinvested += total
            return
        if self.plan.investment.distributions == "prepay":
            self.held += total
        capital = paid.get("return_of_capital", 0)
        if capital:
            self._capital_leaves(account, capital, last)

    def _capital_leaves(self, account: AccountRun, capital: int, last: date) -> None:
        """A return of capital paid out: its borrowed part loses its use on every line."""
        linked = [line.targets.get(account.ref, 0) for line in self.lines]
        moved = account.capital_leaving(capital, sum(linked))
        if not moved:
            return
        for line, part in zip(self.lines, prorate(moved, linked), strict=True):
            if part:
                line.reclass(last, part, account.ref)

    def _close_year(self, year: int) -> None:
        posted = sum(line.eligible_posted for line in self.lines)
        saving = self.tax(year, self.year_deductible, self.income)
        self.savings[year] = saving
        income = tuple(self.income.items())
        self.years.append(
            PlanYear(year, posted - self.posted_before, self.year_deductible, income, saving)
        )
        self.posted_before = posted
        self.year_deductible = 0
        self.income = {}

    # -- results ------------------------------------------------------------------------

    def _row(self, month: str) -> PlanRow:
        self.facility.check()
        return self.sums.row(
            month,
            self.facility.owed_on_mortgages,
            self.facility.classes(),
            self._portfolio(),
            self.facility.limit(),
        )

    def result(self) -> PlanResult:
        """Everything the run produced."""
        targets: dict[str, int] = {}
        for line in self.lines:
            for target, amount in line.targets.items():
                targets[target] = targets.get(target, 0) + amount
        closing = PlanClosing(
            mortgages=tuple((one.ref, one.balance) for one in self.facility.mortgages),
            lines=tuple((one.ref, one.balance) for one in self.lines),
            accounts=tuple((one.ref, one.value) for one in self.accounts),
            targets=tuple(targets.items()),
            excess=self.facility.excess,
            cost=sum(one.cost for one in self.accounts),
            held_cash=self.held,
        )
        warnings = tuple(text for one in self.facility.mortgages for text in one.warnings)
        return PlanResult(
            rows=tuple(self.rows),
            payments=tuple(self.facility.payments),
            draws=tuple(self.draws),
            years=tuple(self.years),
            warnings=warnings,
            closing=closing,
        )
