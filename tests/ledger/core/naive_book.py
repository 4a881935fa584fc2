"""Balances, limits, room and contracts by day, counted by hand from the statements.

Slow and plain, and written apart from ledger/core: each question starts again
from the statement that covers the day.
"""

from __future__ import annotations

from calendar import monthrange
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from planning.core.amortization import payment_cents
from planning.core.money import round_half_up
from planning.core.rates import periodic_fraction
from planning.core.types import Entry, Household, Mortgage, Statement, Term

PER_YEAR = {
    "monthly": 12, "semi-monthly": 24, "biweekly": 26, "weekly": 52, "accelerated-biweekly": 26,
    "accelerated-weekly": 52,
}  # fmt: skip


def month_name(day: date) -> str:
    return f"{day.year:04d}-{day.month:02d}"


def end_of(month: str) -> date:
    year, number = int(month[:4]), int(month[5:])
    return date(year, number, monthrange(year, number)[1])


def months(first: str, last: str) -> list[str]:
    found = [first]
    while found[-1] < last:
        found.append(month_name(end_of(found[-1]) + timedelta(1)))
    return found


def days(start: date, end: date) -> list[date]:
    return [start + timedelta(n) for n in range((end - start).days + 1)]


class NaiveBook:
    """What the statements of one household say of any day."""

    def __init__(self, household: Household) -> None:
        self.h = household
        self.kinds = {one.ref: one.kind for one in household.investments}
        f = household.facility
        self.cap65 = round_half_up(Fraction(f.revolving_cap) * f.lender_value_cents)
        self.cap = min(f.line_cap_cents, self.cap65)
        self._freed: list[tuple[date, int, int]] | None = None
        refs = [one.ref for one in household.mortgages]
        refs += [one.ref for one in household.lines]
        refs += [one.ref for one in household.investments]
        self.statements = {ref: household.statements_of(ref) for ref in refs}

    def of(self, account: str) -> tuple[Statement, ...]:
        return self.statements[account]

    # -- balances -----------------------------------------------------------------

    def principal(self, s: Statement, e: Entry) -> int:
        """What a mortgage entry takes off the balance (negative adds to it)."""
        if e.kind == "prepayment":
            return e.amount_cents
        if e.kind != "payment":
            return -e.amount_cents
        if e.principal_cents is not None:
            return e.principal_cents
        if e.interest_cents is not None:
            return e.amount_cents - e.interest_cents
        return self.implied(s)[e.id]

    def implied(self, s: Statement) -> dict[str, int]:
        """Principal of payments that state none: by the contract, the last takes the rest."""
        m = next(one for one in self.h.mortgages if one.ref == s.account)
        found: dict[str, int] = {}
        balance = s.opening_cents
        for e in sorted(s.entries, key=lambda one: one.date):
            stated = e.kind != "payment" or e.principal_cents is not None
            if stated or e.interest_cents is not None:
                balance -= self.principal(s, e)
                continue
            rate = self.loan_rate(self.term_at(m, e.date), e.date)
            i = periodic_fraction(rate, m.compounding, m.frequency)
            found[e.id] = e.amount_cents - round_half_up(balance * i)
            balance -= found[e.id]
        if found:
            found[list(found)[-1]] += balance - s.closing_cents
        return found

    def loan_rate(self, term: Term, day: date) -> Decimal:
        if term.rate_annual is not None:
            return term.rate_annual
        prime = [rate for on, rate in self.h.prime if on <= day]
        assert term.spread is not None
        return prime[-1] + term.spread

    def effect(self, s: Statement, e: Entry) -> int:
        if s.account in {one.ref for one in self.h.mortgages}:
            return -self.principal(s, e)
        return -e.amount_cents if e.kind == "repayment" else e.amount_cents

    def balance(self, account: str, day: date) -> int:
        """End of day; before the first statement a mortgage owes its opening, a line nothing.

        A mortgage without any statement stands at its opening in the plan.
        """
        known = self.of(account)
        started = [one for one in known if one.starts <= day]
        if not started:
            if account in {one.ref for one in self.h.lines}:
                return 0
            planned = dict(self.h.plan.opening) if self.h.plan else {}
            return known[0].opening_cents if known else planned.get(account, 0)
        s = started[-1]
        if s.ends <= day:
            return s.closing_cents
        return s.opening_cents + sum(self.effect(s, e) for e in s.entries if e.date <= day)

    def owed(self, day: date) -> int:
        return sum(self.balance(one.ref, day) for one in self.h.mortgages)

    def drawn(self, day: date) -> int:
        return sum(self.balance(one.ref, day) for one in self.h.lines)

    def covering(self, account: str, day: date) -> Statement | None:
        found = [one for one in self.of(account) if one.starts <= day <= one.ends]
        return found[0] if found else None

    # -- the facility ---------------------------------------------------------------

    def freed(
        self,
    ) -> list[tuple[date, int, int]]:
        """(date, principal, part sent to A) of each payment and prepayment, in order."""
        if self._freed is not None:
            return self._freed
        firsts = [self.of(one.ref)[:1] for one in self.h.lines]
        owed = sum(self.balance(one.ref, date.min) for one in self.h.mortgages)
        excess = max(0, owed + sum(one[0].opening_cents for one in firsts if one) - self.cap65)
        self.a0 = excess
        events = []
        for index, m in enumerate(self.h.mortgages):
            sequence = 0
            for s in self.of(m.ref):
                for e in sorted(s.entries, key=lambda one: one.date):
                    sequence += 1
                    events.append((e.date, index, sequence, s, e))
        events.sort(key=lambda one: one[:3])
        running: dict[str, int] = {}
        found = []
        for day, index, _, s, e in events:
            # Mortgages listed before this one have had their day, those after it have not.
            before = running.get(f"{s.account} {s.starts}", s.opening_cents)
            running[f"{s.account} {s.starts}"] = before + self.effect(s, e)
            total = before + sum(
                self.balance(m.ref, day if place < index else day - timedelta(1))
                for place, m in enumerate(self.h.mortgages)
                if place != index
            )
            if e.kind not in ("payment", "prepayment"):
                continue
            p = max(0, self.principal(s, e))
            rule = self.h.facility.excess_rule
            sent = min(p, excess)
            if rule == "none":
                sent = 0
            elif rule == "proportional":
                # A payment sends no more than itself, also where A is more than all mortgages.
                share = Fraction(p * excess, total) if total > 0 else Fraction(0)
                sent = min(p, excess, round_half_up(share))
            excess -= sent
            found.append((day, p, sent))
        self._freed = found
        return found

    def computed_limit(self, day: date) -> int:
        """min(line cap, G - M), which may be below zero."""
        excess = -sum(sent for on, _, sent in self.freed() if on <= day) + self.a0
        g = min(self.h.facility.registered_limit_cents, self.cap65 + excess)
        return min(self.cap, g - self.owed(day))

    def room(self, line: str, day: date) -> int:
        s = self.covering(line, day)
        if s is not None and s.limit_cents is not None:
            return max(0, s.limit_cents - self.balance(line, day))
        return max(0, max(0, self.computed_limit(day)) - self.drawn(day))

    def schedule(self, m: Mortgage, end: date) -> list[date]:
        """Payment dates from the first to the first after `end`, that one included."""
        found: list[date] = []
        index = 0
        while not found or found[-1] <= end:
            if PER_YEAR[m.frequency] > 24:
                step = 7 if PER_YEAR[m.frequency] == 52 else 14
                found.append(m.first_payment + timedelta(step * index))
            else:
                half = m.frequency == "semi-monthly"
                month = m.first_payment.month - 1 + (index // 2 if half else index)
                year, number = m.first_payment.year + month // 12, month % 12 + 1
                day = m.first_payment.day + (15 if half and index % 2 else 0)
                found.append(date(year, number, min(day, monthrange(year, number)[1])))
            index += 1
        return found

    def term_at(self, m: Mortgage, day: date) -> Term:
        """A term holds up to the first payment on or after its `matures`."""
        held = m.terms[0]
        for before, term in pairwise(m.terms):
            crossing = next(s for s in self.schedule(m, before.matures + timedelta(62))
                            if s >= before.matures)  # fmt: skip
            if day > crossing:
                held = term
        return held

    def term_payment(self, m: Mortgage, term: Term, as_of: date) -> int:
        if term.payment_cents is not None:
            return term.payment_cents
        n = Fraction(m.amortization_months * PER_YEAR[m.frequency], 12)
        balance = m.original_principal_cents
        rate = self.loan_rate(term, term.starts)
        if term is not m.terms[0]:
            before = m.terms[m.terms.index(term) - 1]
            dates = self.schedule(m, before.matures + timedelta(62))
            crossing = next(k for k, s in enumerate(dates) if s >= before.matures)
            n -= crossing + 1
            first = dates[crossing + 1]
            rate = self.loan_rate(term, min(first, as_of))
            balance = self.balance(m.ref, min(first - timedelta(1), as_of))
        return payment_cents(balance, rate, m.compounding, m.frequency, m.biweekly_basis, n)
