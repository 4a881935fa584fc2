"""One mortgage of a plan: its terms, its payment, its balance, its privilege."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

from config.problems import BadInput, Problem
from planning.core.amortization import (
    amount_due,
    contractual_payments,
    interest_cents,
    payment_cents,
    payments_before,
    scheduled_date,
)
from planning.core.money import round_half_up, text_from_cents
from planning.core.rates import periodic_fraction, rate_on
from planning.core.types import Mortgage, Plan, RateSteps, Term, TermKind


class _Change:
    """A change of rate that falls due: the next contract term, or a planned renewal."""

    __slots__ = ("due", "kind", "payment", "rate", "spread", "starts", "where")

    def __init__(self, due: date, term: Term, where: str) -> None:
        self.due = due
        self.starts = term.starts
        self.kind: TermKind = term.kind
        self.rate = term.rate_annual
        self.spread = term.spread
        self.payment = term.payment_cents
        self.where = where


def _changes(mortgage: Mortgage, plan: Plan, path: str) -> list[_Change]:
    """Every change by due date: a term at the `matures` of the one before it, a planned
    renewal at its own date. On one date the plan's renewal comes last, so it holds.
    """
    found = [
        _Change(mortgage.terms[index - 1].matures, term, f"{path}.terms[{index}]")
        for index, term in enumerate(mortgage.terms)
        if index
    ]
    for index, renewal in enumerate(plan.renewals):
        if renewal.mortgage == mortgage.ref:
            term = Term(renewal.on, renewal.on, "fixed", renewal.rate_annual, None, None)
            found.append(_Change(renewal.on, term, f"plan.renewals[{index}]"))
    return sorted(found, key=lambda one: one.due)


class MortgageRun:
    """A mortgage while the plan runs. Amounts in cents.

    A change of term takes hold after the first scheduled payment on or after
    its due date: that payment is still at the old rate, since interest is paid
    in arrears.
    """

    def __init__(
        self, mortgage: Mortgage, plan: Plan, prime: RateSteps, ceiling: int, path: str, file: str
    ) -> None:
        self.mortgage = mortgage
        self.ref = mortgage.ref
        self.file = file
        self.prime = prime
        self.balance = dict(plan.opening).get(mortgage.ref, 0)
        self.contractual = contractual_payments(mortgage)
        self.starts = plan.starts
        self.rate = Decimal(0)
        self.index = payments_before(mortgage, plan.starts)
        self.next_date = scheduled_date(mortgage, self.index)
        self.ceiling = min(mortgage.original_principal_cents, ceiling)
        self.warnings: list[str] = []
        self._warned: set[str] = set()
        self._prepaid_year = 0
        self._prepaid = 0
        self._privilege = round_half_up(
            Fraction(mortgage.prepayment_privilege) * mortgage.original_principal_cents
        )
        self._changes = _changes(mortgage, plan, path)
        self._periodic: tuple[Decimal, Fraction] = (Decimal(0), Fraction(0))
        self._begin(path)

    # -- terms ----------------------------------------------------------------

    def _begin(self, path: str) -> None:
        first = _Change(self.mortgage.terms[0].starts, self.mortgage.terms[0], f"{path}.terms[0]")
        self.term = first
        while self._changes and self._takes_hold(self._changes[0]):
            self.term = self._changes.pop(0)
        self.payment: int | None = self.term.payment
        self._before = self._baseline(self.term) if self.balance else None
        if self.payment is not None or self.term.kind == "adjustable" or not self.balance:
            return
        priced = self._rate_on(self.term.starts, self.term)
        if self.term is first:
            self.payment = self._solve(
                self.mortgage.original_principal_cents, priced, self.contractual
            )
        else:
            self.payment = self._solve(self.balance, priced, self.contractual - self.index)

    def _baseline(self, term: _Change) -> Decimal | None:
        """The rate an adjustable term's stated payment was set at; None when none is needed."""
        if term.kind != "adjustable" or term.payment is None:
            return None
        return self._rate_on(max(term.starts, self.starts), term)

    def _takes_hold(self, change: _Change) -> bool:
        """Whether a scheduled date on or after the change's due date lies before the next one."""
        return self.index > 0 and scheduled_date(self.mortgage, self.index - 1) >= change.due

    def _rate_on(self, day: date, term: _Change) -> Decimal:
        if term.rate is not None:
            return term.rate
        prime = rate_on(self.prime, day)
        if prime is None or term.spread is None:
            raise BadInput(
                [
                    Problem(
                        self.file,
                        "plan.prime",
                        f"no prime rate on or before {day}, needed by {term.where}",
                        "Add the prime rate in force on that day to plan.prime or prime",
                    )
                ]
            )
        return prime + term.spread

    def _solve(self, balance: int, rate: Decimal, remaining: Fraction) -> int:
        one = self.mortgage
        return payment_cents(
            balance, rate, one.compounding, one.frequency, one.biweekly_basis, remaining
        )

    def _resolve(self, owed: int) -> None:
        """Solve the payment on the balance now; past the last one, all that is owed is due."""
        remaining = self.contractual - self.index
        if remaining <= 0:
            self.payment = owed
        else:
            self.payment = self._solve(self.balance, self.rate, remaining)

    # -- payments ---------------------------------------------------------------

    def pays_on(self, day: date) -> bool:
        """Whether a payment is scheduled on the day and something is owed."""
        return self.next_date == day and self.balance > 0

    def _interest(self) -> int:
        if self._periodic[0] != self.rate or not self._periodic[1]:
            one = self.mortgage
            self._periodic = (
                self.rate,
                periodic_fraction(self.rate, one.compounding, one.frequency),
            )
        return interest_cents(self.balance, self._periodic[1])

    def pay(self, day: date) -> tuple[int, int, int]:
        """Make the day's payment: (payment, interest, principal); principal may be negative."""
        renewed = False
        while self._changes and self._takes_hold(self._changes[0]):
            self.term = self._changes.pop(0)
            renewed = True
        if renewed:
            self.payment = self.term.payment
            self._before = self._baseline(self.term)
        rate = self._rate_on(day, self.term)
        self.rate = rate
        interest = self._interest()
        owed = self.balance + interest
        moved = self.term.kind == "adjustable" and rate != self._before
        self._before = rate
        if self.payment is None or moved:
            self._resolve(owed)
        assert self.payment is not None
        if renewed and self.term.kind == "fixed" and self.payment <= interest:
            self._refuse_payment(interest)
        paid = amount_due(self.payment, owed, self.index + 1, self.contractual)
        principal = paid - interest
        self.balance -= principal
        assert paid == interest + principal
        assert self.balance >= 0
        if self.term.kind == "static":
            self._watch(day, principal)
        self.index += 1
        self.next_date = scheduled_date(self.mortgage, self.index)
        return paid, interest, principal

    def _refuse_payment(self, interest: int) -> None:
        raise BadInput(
            [
                Problem(
                    self.file,
                    f"{self.term.where}.payment",
                    "the stated payment does not cover the first interest, "
                    + text_from_cents(interest),
                    "Check the payment, the rate and the frequency against the contract",
                )
            ]
        )

    def _watch(self, day: date, principal: int) -> None:
        if principal < 0 and "trigger" not in self._warned:
            self._warned.add("trigger")
            self.warnings.append(
                f"{self.ref}: from {day} the payment no longer covers the interest; "
                "the balance grows and frees no room"
            )
        if self.balance > self.ceiling and "ceiling" not in self._warned:
            self._warned.add("ceiling")
            self.warnings.append(
                f"{self.ref}: on {day} the balance passes the lender's usual ceiling (the original "
                "principal, or 80% of the value on file); the lender will ask for a higher payment"
            )

    # -- prepayments --------------------------------------------------------------

    def prepay(self, day: date, offered: int) -> int:
        """Take a prepayment up to the year's privilege and the balance; what was taken."""
        if day.year != self._prepaid_year:
            self._prepaid_year = day.year
            self._prepaid = 0
        taken = max(0, min(offered, self._privilege - self._prepaid, self.balance))
        self._prepaid += taken
        self.balance -= taken
        return taken
