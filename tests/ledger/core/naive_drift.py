"""A second set of drift rules, slow and plain, to hold the real ones against.

Written apart from ledger/core/drift from the same rules: every close starts
over, every balance is counted from its statement by hand, every run is folded
by looking at each month. Only the classes of the lines come from the tracer,
which has a second of its own.
"""

from __future__ import annotations

from calendar import monthrange
from collections import defaultdict
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from ledger.core.trace_types import DrawTrace, Trace
from ledger.core.tracing import Tracer
from planning.core.money import round_half_up
from planning.core.plan_types import PlanResult
from planning.core.rates import periodic_fraction
from planning.core.types import Household, Line, Mortgage, Statement
from tests.ledger.core.naive_book import NaiveBook, days, end_of, month_name, months

Found = dict[tuple[str, str], tuple[int, str]]
"""Code and key to dollars in cents and severity, at one close."""
Run = tuple[str, str, str, str, bool, int, str]
"""Code, key, first, last, open, dollars in cents, severity."""
Add = Callable[[str, object, int, str], None]
CHECKED = frozenset(
    {
        "missed-reborrow", "late-reborrow", "personal-use", "registered-destination",
        "unsupported-draw", "idle-draw", "mixed-line", "capital-leak", "proceeds-leak",
        "interest-unpaid", "interest-mismatch", "balance-break", "statement-missing",
        "payment-missed", "renewal-due", "renewal-passed", "limit-short", "limit-cut",
        "over-limit", "cap-exceeded", "prepayment-over-privilege", "owner-mismatch",
        "underwater", "income-overstated", "deduction-off-plan",
    }
)  # fmt: skip


class NaiveDrift(NaiveBook):
    """The findings of one household, month by month."""

    def __init__(self, household: Household, plan: PlanResult) -> None:
        super().__init__(household)
        self.result = plan
        self.tracer = Tracer(household)
        self.uses = {one.draw: one.splits for one in household.uses}
        self._mismatches: dict[str, list[tuple[date, int]]] = {}
        self._closed: set[tuple[str, str]] = set()

    # -- the run of months -------------------------------------------------------

    def runs(self, through: str) -> list[Run]:
        first = month_name(min(one.starts for one in self.h.statements))
        closes = [(m, self.at(m)) for m in months(first, through)]
        found: list[Run] = []
        for code, key in {one for _, at in closes for one in at}:
            start = None
            for index, (month, at) in enumerate(closes):
                if (code, key) not in at:
                    start = None
                    continue
                start = start or month
                if index + 1 == len(closes) or (code, key) not in closes[index + 1][1]:
                    dollars, severity = at[code, key]
                    found.append((code, key, start, month, month == through, dollars, severity))
        return sorted(found)

    def at(self, month: str) -> Found:
        """What holds at one close; `cure` findings need the closes before to be asked first."""
        found: Found = {}

        def add(code: str, key: object, cents: int, severity: str) -> None:
            old = found.get((code, str(key)), (0, severity))
            found[code, str(key)] = (old[0] + cents, severity)

        as_of = end_of(month)
        traced = self.tracer.at(as_of)
        self.reborrow(month, as_of, traced, add)
        self.draws(month, as_of, traced, add)
        self.line_state(as_of, traced, add)
        self.papers(month, as_of, add)
        self.mortgages(as_of, add)
        self.limits(month, as_of, add)
        self.people(as_of, traced, add)
        self.plan_year(month, traced, add)
        return found

    # -- re-borrowing --------------------------------------------------------------

    def missed(self, month: str, as_of: date) -> int | None:
        plan = self.h.plan
        if plan is None or plan.reborrow is None or month < month_name(plan.starts):
            return None
        rule = plan.reborrow
        since = sum(p - sent for on, p, sent in self.freed() if plan.starts <= on <= as_of)
        reserve = rule.reserve_cents + round_half_up((1 - Fraction(rule.share)) * since)
        least = min(self.room(rule.line, day) for day in days(as_of - timedelta(9), as_of))
        return least - reserve if least - reserve >= 5000 else None

    def reborrow(self, month: str, as_of: date, traced: Trace, add: Add) -> None:
        plan = self.h.plan
        if plan is None or plan.reborrow is None:
            return
        missed = self.missed(month, as_of)
        if missed is not None:
            add("missed-reborrow", plan.reborrow.line, missed, "fix")
            return
        classes = {one.id: one.classes for one in traced.draws}
        pile = [(on, p - sent) for on, p, sent in self.freed()]
        unused = dict(enumerate(one[1] for one in pile))
        entries = sorted(
            (e for s in self.of(plan.reborrow.line) for e in s.entries),
            key=lambda one: one.date,
        )
        for e in entries:
            if e.kind != "draw" or e.date > as_of:
                continue
            left, old = e.amount_cents, 0
            for number in reversed([k for k, one in enumerate(pile) if one[0] <= e.date]):
                used = min(left, unused[number])
                unused[number] -= used
                left -= used
                if (e.date - pile[number][0]).days > 10:
                    old += used
            if old >= 5000 and month_name(e.date) == month and any(classes[e.id][:2]):
                add("late-reborrow", e.id, e.amount_cents, "note")

    # -- draws and leaks -----------------------------------------------------------

    def cure(
        self,
        code: str,
        key: str,
        on: date,
        cents: int,
        lines: list[str],
        as_of: date,
        traced: Trace,
        add: Add,
    ) -> None:
        """Once open, a finding that finds its lines clean at a close is closed for good."""
        name = (code, key)
        if cents <= 0 or on > as_of or name in self._closed:
            return
        if any(traced.lines[one].principal[2] > 0 for one in lines):
            add(code, key, cents, "act")
        else:
            self._closed.add(name)

    def personal(self, draw: DrawTrace) -> tuple[int, int]:
        """(personal part, registered part) of a draw by its splits."""
        if draw.kind == "fee" and draw.id not in self.uses:
            return draw.classes[2], 0
        personal = registered = 0
        for one in draw.splits:
            kind = self.kinds.get(one.to or "")
            if one.use in ("line-interest", "refinance"):
                continue
            if one.use == "registered-plan" or (kind is not None and kind != "non-registered"):
                registered += one.classes[2]
            else:
                personal += one.classes[2]
        return personal, registered

    def draws(self, month: str, as_of: date, traced: Trace, add: Add) -> None:
        for draw in traced.draws:
            personal, registered = self.personal(draw)
            where = (draw.id, draw.on)
            self.cure("personal-use", *where, personal, [draw.line], as_of, traced, add)
            self.cure("registered-destination", *where, registered, [draw.line], as_of, traced, add)
            old = (as_of - draw.on).days > 30
            if draw.kind != "fee" and draw.without_paper > 0 and old:
                add("unsupported-draw", draw.id, draw.without_paper, "paper")
            invested = sum(
                one.amount_cents
                for one in self.uses.get(draw.id, ())
                if one.use == "income-investment"
            )
            late = [
                e.date
                for one in self.h.investments
                for s in self.of(one.ref)
                for e in s.entries
                if e.kind == "contribution" and e.source == draw.id
                and (e.date - draw.on).days > 5
            ]  # fmt: skip
            if draw.kind == "draw" and invested and late and month_name(min(late)) == month:
                add("idle-draw", draw.id, invested, "paper")
        codes = {"capital": "capital-leak", "proceeds": "proceeds-leak",
                 "registered": "registered-destination"}  # fmt: skip
        for leak in traced.leaks:
            touched = [ref for ref, part in leak.by_line if part]
            self.cure(codes[leak.rule], leak.id, leak.on, leak.moved, touched, as_of, traced, add)
        for one in traced.overstated:
            add("income-overstated", one.id, one.excess, "paper")

    # -- the line -------------------------------------------------------------------

    def line_state(self, as_of: date, traced: Trace, add: Add) -> None:
        plan = self.h.plan
        for line in self.h.lines:
            state = traced.lines[line.ref]
            if state.principal[0] > 0 and state.principal[2] > 0:
                add("mixed-line", line.ref, state.principal[2], "act")
            unpaid = sum(sum(one.unpaid) for one in state.postings if (as_of - one.on).days > 25)
            if plan is not None and plan.line_interest == "from-cash" and unpaid > 0:
                add("interest-unpaid", line.ref, unpaid, "fix")
            for on, gap in self.mismatches(line):
                if on <= as_of:
                    add("interest-mismatch", f"{line.ref}:{on}", gap, "paper")

    def rate(self, line: Line, s: Statement, day: date) -> Decimal | None:
        stated = [rate for on, rate in s.rates if on <= day]
        if stated:
            return stated[-1]
        prime = [rate for on, rate in self.h.prime if on <= day]
        return prime[-1] + line.spread if prime else None

    def mismatches(self, line: Line) -> list[tuple[date, int]]:
        """Postings off by more than the tolerance: (date, difference), whenever they are known."""
        if line.ref in self._mismatches:
            return self._mismatches[line.ref]
        found: list[tuple[date, int]] = []
        since: date | None = None
        previous: Statement | None = None
        after_gap = False
        for s in self.of(line.ref):
            since = since or s.starts
            if previous is not None and (s.starts - previous.ends).days > 1:
                since, after_gap = s.starts, True
            previous = s
            for e in sorted(s.entries, key=lambda one: one.date):
                if e.kind != "interest":
                    continue
                nights = days(since, e.date - timedelta(1))
                parts = [self.night(line, day) for day in nights]
                if not after_gap and None not in parts:
                    computed = round_half_up(sum((one for one in parts if one), Fraction(0)))
                    gap = abs(e.amount_cents - computed)
                    if gap > max(5, 2 * len(nights)):
                        found.append((e.date, gap))
                since, after_gap = e.date, False
        self._mismatches[line.ref] = found
        return found

    def night(self, line: Line, day: date) -> Fraction | None:
        """The interest of one night; None where no rate is known."""
        cover = self.covering(line.ref, day)
        rate = None if cover is None else self.rate(line, cover, day)
        if rate is None:
            return None
        leap = line.day_basis == "actual" and monthrange(day.year, 2)[1] == 29
        held = max(0, self.balance(line.ref, day))
        return held * Fraction(rate) / (366 if leap else 365)

    # -- papers ----------------------------------------------------------------------

    def papers(self, month: str, as_of: date, add: Add) -> None:
        lines = [one.ref for one in self.h.lines]
        loans = [one.ref for one in self.h.mortgages]
        for account in [*lines, *loans]:
            before: Statement | None = None
            for s in self.of(account):
                gap = 0 if before is None else abs(s.opening_cents - before.closing_cents)
                before = s
                told = account in lines or all(
                    e.principal_cents is not None for e in s.entries if e.kind == "payment"
                )
                if told:
                    end = s.opening_cents + sum(self.effect(s, e) for e in s.entries)
                    gap += abs(end - s.closing_cents)
                if gap and s.ends <= as_of:
                    add("balance-break", f"{account}:{month_name(s.ends)}", gap, "paper")
        for account in [*lines, *loans, *self.kinds]:
            known = self.of(account)
            if not known or known[0].starts > as_of:
                continue
            for one in months(month_name(known[0].starts), month):
                if self.covering(account, end_of(one)) is None:
                    add("statement-missing", f"{account}:{one}", 0, "paper")

    # -- mortgages ----------------------------------------------------------------

    def mortgages(self, as_of: date, add: Add) -> None:
        for m in self.h.mortgages:
            statements = self.of(m.ref)
            paid = [e for s in statements for e in s.entries if e.date <= as_of]
            payments = [e.date for e in paid if e.kind == "payment"]
            dates = self.schedule(m, as_of + timedelta(70))
            covered = [s for s in dates if self.covering(m.ref, s)
                       and self.balance(m.ref, s - timedelta(1)) > 0]  # fmt: skip
            # A payment for a date that no statement covers is no payment for another date.
            unseen = [(s - timedelta(5), after - timedelta(5))
                      for s, after in pairwise(dates)
                      if s <= as_of and s not in covered]  # fmt: skip
            counted = [one for one in payments if not any(a <= one < b for a, b in unseen)]
            enough = len(counted) >= sum(1 for s in covered if s <= as_of)
            for s, after in pairwise(dates):
                late = s + timedelta(5)
                if late > as_of or s not in covered or self.covering(m.ref, late) is None:
                    continue
                window = (s - timedelta(5), after - timedelta(5))
                if not enough and not any(window[0] <= one < window[1] for one in payments):
                    cents = self.term_payment(m, self.term_at(m, s), as_of)
                    add("payment-missed", f"{m.ref}:{s}", cents, "fix")
            self.renewals(m, as_of, add)
            extra = sum(e.amount_cents for e in paid
                        if e.kind == "prepayment" and e.date.year == as_of.year)  # fmt: skip
            allowed = round_half_up(Fraction(m.prepayment_privilege) * m.original_principal_cents)
            if extra > allowed:
                key = f"{m.ref}:{as_of.year}"
                add("prepayment-over-privilege", key, extra - allowed, "note")

    def renewals(self, m: Mortgage, as_of: date, add: Add) -> None:
        last = m.terms[-1]
        left = (last.matures - as_of).days
        owed = self.balance(m.ref, as_of)
        if owed <= 0:
            return
        key = f"{m.ref}:{last.matures}"
        if left < 0:
            add("renewal-passed", key, owed, "act")
        elif left <= 120:
            for s in self.schedule(m, last.matures):
                if as_of < s <= last.matures:
                    term = self.term_at(m, s)
                    i = periodic_fraction(
                        self.loan_rate(term, min(s, as_of)), m.compounding, m.frequency
                    )
                    interest = round_half_up(owed * i)
                    owed -= min(owed, self.term_payment(m, term, as_of) - interest)
            add("renewal-due", key, owed, "act" if left <= 21 else "fix" if left <= 60 else "note")

    # -- limits ------------------------------------------------------------------------

    def limits(self, month: str, as_of: date, add: Add) -> None:
        for line in self.h.lines:
            stated: Statement | None = None
            for s in self.of(line.ref):
                if s.limit_cents is None:
                    continue
                before, stated = stated, s
                if month_name(s.ends) != month:
                    continue
                key = f"{line.ref}:{month}"
                short = self.computed_limit(s.ends) - s.limit_cents
                if short > 5000:
                    add("limit-short", key, short, "fix")
                if before is None or before.limit_cents is None:
                    continue
                drop = before.limit_cents - s.limit_cents
                if drop > 5000 and self.owed(s.ends) < self.owed(before.ends):
                    add("limit-cut", key, drop, "act")
            now = self.covering(line.ref, as_of)
            if not self.of(line.ref):
                continue
            if now is not None and now.limit_cents is not None:
                over = self.balance(line.ref, as_of) - now.limit_cents
            else:
                over = self.drawn(as_of) - max(0, self.computed_limit(as_of))
            if over > 0:
                add("over-limit", line.ref, over, "fix")
        h, both = self.drawn(as_of), self.drawn(as_of) + self.owed(as_of)
        excess = max(Fraction(h - self.cap65),
                     both - Fraction(8, 10) * self.h.facility.lender_value_cents)  # fmt: skip
        if excess > 0:
            add("cap-exceeded", "facility", round_half_up(excess), "fix")

    # -- people, portfolio, year -------------------------------------------------------

    def people(self, as_of: date, traced: Trace, add: Add) -> None:
        owners = {one.ref: set(one.owners) for one in self.h.investments}
        for line in self.h.lines:
            state = traced.lines[line.ref]
            if state.principal[0] <= 0 or line.owners_explained:
                continue
            sets = [set(line.borrowers), {line.payer} - {None}, {line.claimant} - {None}]
            sets += [owners[ref] for ref, part in state.targets.items() if part and ref in owners]
            sets = [one for one in sets if one]
            if any(one != sets[0] for one in sets):
                posted = sum(one.posted for one in state.postings if one.on.year == as_of.year)
                add("owner-mismatch", line.ref, posted, "act")
        value = 0
        for one in self.h.investments:
            if one.kind != "non-registered":
                continue
            ended = [s for s in self.of(one.ref) if s.ends <= as_of]
            if not ended:
                if any(state.targets.get(one.ref, 0) for state in traced.lines.values()):
                    return
                continue
            last = ended[-1]
            value += last.closing_cents if last.value_cents is None else last.value_cents
        debt = self.drawn(as_of)
        if value < debt:
            ratio = Fraction(value, debt)
            severity = "note"
            if ratio < Fraction(9, 10):
                severity = "fix"
            if ratio < Fraction(8, 10):
                severity = "act"
            add("underwater", self.h.ref, debt - value, severity)

    def plan_year(self, month: str, traced: Trace, add: Add) -> None:
        if self.h.plan is None or not any(one.month == month for one in self.result.rows):
            return
        since = max(month[:4] + "-01", month_name(self.h.plan.starts))
        planned = [one.deductible for one in self.result.rows if since <= one.month <= month]
        by_month: dict[str, int] = defaultdict(int)
        payable = self.h.facility.interest_method == "payable"
        for one in traced.payments:
            by_month[month_name(one.on)] += one.compound[0] if payable else one.classes[0]
        if payable:
            for state in traced.lines.values():
                for posting in state.postings:
                    by_month[month_name(posting.on)] += posting.classes[0] - posting.compound[0]
        actual = sum(cents for m, cents in by_month.items() if since <= m <= month)
        gap = abs(actual - sum(planned))
        if gap > 25000 and gap * 10 > sum(planned):
            add("deduction-off-plan", month[:4], gap, "note")


def naive_runs(household: Household, plan: PlanResult, through: str) -> list[Run]:
    """Every run of the checked codes, sorted."""
    return NaiveDrift(household, plan).runs(through)
