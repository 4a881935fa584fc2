"""The facility of a plan: its mortgages and lines together, the excess above the cap, the room."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from planning.core.plan_line import LineRun
from planning.core.plan_month import MonthSums
from planning.core.plan_mortgage import MortgageRun
from planning.core.plan_opening import opening_of
from planning.core.plan_types import OpeningClasses, PlanPayment
from planning.core.rates import merged_prime
from planning.core.room import Limits, opening_excess_cents, principal_to_excess_cents
from planning.core.types import Household, Plan


class FacilityRun:
    """Mortgages, lines and the amortising excess while the plan runs. Amounts in cents."""

    def __init__(
        self,
        household: Household,
        plan: Plan,
        traced: Mapping[str, OpeningClasses] | None,
        file: str,
    ) -> None:
        facility = household.facility
        opening = dict(plan.opening)
        prime = merged_prime(plan.prime, household.prime)
        # 80% of the value on file, the point at which a static payment is usually raised.
        ceiling = facility.lender_value_cents * 4 // 5
        self.mortgages = [
            MortgageRun(one, plan, prime, ceiling, f"mortgages[{index}]", file)
            for index, one in enumerate(household.mortgages)
        ]
        self.lines = [
            LineRun(
                one,
                opening_of(household, one.ref, opening.get(one.ref, 0), traced),
                prime,
                plan.starts,
                facility.interest_method,
            )
            for one in household.lines
        ]
        self.limits = Limits.of(facility)
        self.rule = facility.excess_rule
        self.owed_on_mortgages = sum(one.balance for one in self.mortgages)
        self.excess = opening_excess_cents(facility, self.owed_on_mortgages, self.owed_on_lines())
        self.payments: list[PlanPayment] = []

    # -- what stands ------------------------------------------------------------

    def owed_on_lines(self) -> int:
        """H: the balances of all lines."""
        return sum(one.balance for one in self.lines)

    def limit(self) -> int:
        """max(0, min(line_cap, G - M)) now."""
        return self.limits.limit_cents(self.owed_on_mortgages, self.excess)

    def room(self) -> int:
        """What can still be drawn now."""
        return max(0, self.limit() - self.owed_on_lines())

    def linked(self, account: str) -> int:
        """L: eligible principal of all lines that was used for the account."""
        return sum(one.targets.get(account, 0) for one in self.lines)

    def classes(self) -> tuple[int, int, int]:
        """The lines' balances by use class."""
        first, second, third = (
            sum(line.class_balance(index) for line in self.lines) for index in range(3)
        )
        return first, second, third

    def next_payment(self, before: date) -> date:
        """The earliest scheduled date of a mortgage with a balance, or `before` when none is
        earlier.
        """
        dates = [one.next_date for one in self.mortgages if one.balance > 0]
        return min([*dates, before])

    # -- facts --------------------------------------------------------------------

    def pay(self, day: date, sums: MonthSums) -> tuple[int, bool]:
        """The day's scheduled payments: room freed, and whether anything was due."""
        freed, paying = 0, False
        for one in self.mortgages:
            if not one.pays_on(day):
                continue
            paying = True
            paid, interest, principal = one.pay(day)
            sent = self._principal_paid(principal)
            freed += max(0, principal) - sent
            sums.payment += paid
            sums.interest += interest
            sums.principal += principal
            self.payments.append(
                PlanPayment(day, one.ref, paid, interest, principal, 0, one.rate, sent, one.balance)
            )
        return freed, paying

    def prepay(self, day: date, amount: int, sums: MonthSums) -> int:
        """Prepay mortgages in listing order; room freed. What none can take is refused cash."""
        freed = 0
        for one in self.mortgages:
            taken = one.prepay(day, amount)
            if not taken:
                continue
            amount -= taken
            sent = self._principal_paid(taken)
            freed += taken - sent
            sums.prepayment += taken
            self.payments.append(
                PlanPayment(day, one.ref, 0, 0, 0, taken, one.rate, sent, one.balance)
            )
        sums.refused += amount
        return freed

    def _principal_paid(self, principal: int) -> int:
        """Book principal on the facility; the part sent to the amortising excess."""
        sent = principal_to_excess_cents(self.rule, principal, self.excess, self.owed_on_mortgages)
        self.excess -= sent
        self.owed_on_mortgages -= principal
        return sent

    def check(self) -> None:
        """What the parts owe adds up to what the facility owes."""
        assert self.owed_on_mortgages == sum(one.balance for one in self.mortgages)
        assert self.excess >= 0
        for line in self.lines:
            line.check()
