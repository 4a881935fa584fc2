"""The cure of a finding: steps to the cent, and what a year looks like with and without it.

Each way out is played on the household after its last close (`cure_future`)
and traced by the same engine as the past; nothing here computes a deduction
of its own. Rules: repayments of one debt fall on all its uses in proportion
(income tax folio S3-F6-C1; CRA letter 2007-0221071E5); money borrowed to repay
borrowed money takes over its use (Income Tax Act, subsection 20(3)).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from ledger.core.cure import percent_text
from ledger.core.cure_future import Move, Start, played, start_after
from ledger.core.deductions import deduction_years
from ledger.core.drift.findings import Step, step
from ledger.core.trace_adapter import month_flows
from ledger.core.trace_types import NONE, Classes, add
from ledger.core.tracing import trace
from planning.core.money import prorate, round_half_up
from planning.core.months import first_day, last_day
from planning.core.types import Evidence, Household, Line, Split

ScenarioName = Literal["left", "unsplit", "cured", "reborrowed", "payoff"]
MIXING = (
    "mixed-line",
    "personal-use",
    "registered-destination",
    "capital-leak",
    "proceeds-leak",
)
CURABLE = (*MIXING, "missed-reborrow")


@dataclass(frozen=True, slots=True)
class Scenario:
    """One way to go on, played for twelve months. Amounts in cents.

    `cash` is own money put in on the first day beyond interest. `classes` is
    what is owed on the line and its sub-accounts at the end, by class, and
    `mixed` whether one of them still holds eligible and ineligible principal.
    `months` is the deductible interest of every month, all lines together;
    `year` that of the calendar year of the first day, the past part included,
    and `tax_saving` what that year's claim saves.
    """

    name: ScenarioName
    cash: int
    classes: Classes
    mixed: bool
    months: tuple[tuple[str, int], ...]
    year: int
    tax_saving: int

    @property
    def ahead(self) -> int:
        """Deductible interest of the twelve months."""
        return sum(cents for _, cents in self.months)

    @property
    def balance(self) -> int:
        """What is owed at the end."""
        return sum(self.classes)


@dataclass(frozen=True, slots=True)
class CurePlan:
    """Steps on `day`, what they cost and bring, and the ways compared. Amounts in cents.

    `cautions` say what would not cure it.

    `cash` is the own money the cure takes; `more_interest` the further interest
    a year it commits to; `restored` the deductible interest it adds over twelve
    months; `not_restored` what it cannot bring back (interest already paid on
    ineligible principal, or an estimate of the deduction that did not start).
    """

    code: str
    line: str
    day: date
    rate: Decimal
    steps: tuple[Step, ...]
    cautions: tuple[Step, ...]
    cash: int
    more_interest: int
    not_restored: int
    scenarios: tuple[Scenario, ...]

    @property
    def left(self) -> Scenario:
        """Everything left as it is."""
        return self.scenarios[0]

    @property
    def best(self) -> Scenario:
        """The cure carried through: re-borrowed where the plan re-borrows."""
        for name in ("reborrowed", "cured"):
            for one in self.scenarios:
                if one.name == name:
                    return one
        return self.scenarios[0]

    @property
    def restored(self) -> int:
        """Deductible interest the cure adds over the twelve months."""
        return self.best.ahead - self.left.ahead


def cure_plan(
    household: Household, through: str, code: str, key: str, first: str = "", dollars: int = 0
) -> CurePlan | None:
    """The cure of a finding open at the close of `through`.

    `first` is the month the finding began and `dollars` its cents, used for
    missed re-borrowing. None when the code has no cure that can be played, its
    line owes nothing, or a rate is not on file.
    """
    start = start_after(household, through) if code in CURABLE else None
    if start is None:
        return None
    if code == "missed-reborrow":
        return _missed(start, key, first or through, dollars)
    line = _line_of(start, code, key)
    if line is None or start.principal(line)[2] <= 0:
        return None
    return _mixed(start, code, line)


def _line_of(start: Start, code: str, key: str) -> str | None:
    """The line a finding touches; of several the first with ineligible principal."""
    if code == "mixed-line":
        return key if key in start.traced.lines else None
    touched = [one.line for one in start.traced.draws if one.id == key]
    for leak in start.traced.leaks:
        if leak.id == key:
            touched += [line for line, cents in leak.by_line if cents > 0]
    found = [one for one in touched if start.principal(one)[2] > 0]
    return found[0] if found else None


# -- a line with ineligible principal ---------------------------------------------


def _mixed(start: Start, code: str, line: str) -> CurePlan:
    eligible, unsupported, ineligible = start.principal(line)
    open_interest = sum(start.traced.lines[line].unpaid)
    whole = eligible + unsupported + ineligible
    into = _into(start.household)
    names = sub_accounts(start.household, line)
    accounts: tuple[Line, ...] = ()
    divided = eligible + unsupported > 0
    rate = start.rate(line)
    steps: list[Step] = []
    cautions: tuple[Step, ...] = ()
    if open_interest:
        steps.append(
            step(
                "Pay the interest open on {line} from own cash on {day}: {unpaid} and what has "
                "accrued since.",
                line=line,
                day=start.day.isoformat(),
                unpaid=open_interest,
            )
        )
    ways = [_scenario("left", start, line, 0)]
    if divided:
        splitting, accounts = _split(start, line, names)
        cured = (*splitting, Move(names[2], "repayment", ineligible))
        steps += _split_steps(line, names, (eligible, unsupported, ineligible))
        ways.append(
            _scenario("unsplit", start, line, ineligible, (Move(line, "repayment", ineligible),))
        )
    else:
        cured = (Move(line, "repayment", ineligible),)
        steps.append(
            step(
                "Repay the {balance} on {line}; all of it is ineligible.",
                balance=ineligible,
                line=line,
            )
        )
    ways.append(_scenario("cured", start, line, ineligible, cured, accounts))
    clean = names[0] if eligible > 0 else line
    if into is not None:
        again = Move(clean, "draw", ineligible, (_invested(ineligible, into),))
        ways.append(_scenario("reborrowed", start, line, ineligible, (*cured, again), accounts))
        steps.append(
            step(
                "Re-borrow the {ineligible} now free on {clean} and send it to {account} the same "
                "day; keep the confirmation.",
                ineligible=ineligible,
                clean=clean,
                account=into,
            )
        )
    if divided:
        ways.append(_scenario("payoff", start, line, whole, (Move(line, "repayment", whole),)))
        cautions = _cautions(start.principal(line))
    return CurePlan(
        code=code,
        line=line,
        day=start.day,
        rate=rate,
        steps=tuple(steps),
        cautions=cautions,
        cash=ineligible,
        more_interest=0,
        not_restored=sum(one.classes[2] for one in start.traced.payments if one.line == line),
        scenarios=tuple(ways),
    )


def sub_accounts(household: Household, line: str) -> tuple[str, str, str]:
    """References for the sub-accounts of a line by class, none of them taken."""
    taken = {
        *(one.ref for one in household.lines),
        *(one.ref for one in household.mortgages),
        *(one.ref for one in household.investments),
    }

    def free(name: str) -> str:
        while name in taken:
            name += "-new"
        return name

    return free(f"{line}-eligible"), free(f"{line}-unsupported"), free(f"{line}-ineligible")


def _split(
    start: Start, line: str, names: tuple[str, str, str]
) -> tuple[tuple[Move, ...], tuple[Line, ...]]:
    """The moves that refinance a line's principal into one sub-account for each class."""
    parts = start.principal(line)
    used = [index for index in range(3) if parts[index] > 0]
    classes = ("eligible", "unsupported", "ineligible")
    draws = tuple(
        Move(
            names[index],
            "draw",
            parts[index],
            (Split(parts[index], "refinance", line, classes[index], ()),),  # type: ignore[arg-type]
        )
        for index in used
    )
    old = next(one for one in start.household.lines if one.ref == line)
    accounts = tuple(replace(old, ref=names[index]) for index in used)
    return (*draws, Move(line, "repayment", sum(parts))), accounts


def _split_steps(line: str, names: tuple[str, str, str], parts: Classes) -> list[Step]:
    eligible, unsupported, ineligible = parts
    steps = [
        step(
            "Ask the lender to refinance the {whole} of {line} into sub-accounts, paid out on the "
            "same day to the cent; keep the lender's statement of the payout.",
            whole=sum(parts),
            line=line,
        )
    ]
    if eligible:
        steps.append(
            step(
                "{clean} takes over the {eligible} of eligible use.",
                clean=names[0],
                eligible=eligible,
            )
        )
    if unsupported:
        steps.append(
            step(
                "{third} takes over the {unsupported} without evidence, until its paper is on "
                "file.",
                third=names[1],
                unsupported=unsupported,
            )
        )
    return [
        *steps,
        step(
            "{other} takes over the {ineligible} of ineligible use.",
            other=names[2],
            ineligible=ineligible,
        ),
        step(
            "Repay the {ineligible} on {other} alone, from own cash.",
            ineligible=ineligible,
            other=names[2],
        ),
    ]


def _cautions(parts: Classes) -> tuple[Step, ...]:
    """What not to do: a repayment before the split, and what paying everything takes."""
    whole, ineligible = sum(parts), parts[2]
    first, second, third = (
        have - part for have, part in zip(parts, prorate(ineligible, parts), strict=True)
    )
    after = first + second + third
    return (
        step(
            "Do not repay before the split: {part} paid on the undivided line would leave "
            "{still} ineligible, and {before} of the principal eligible before and {after} after.",
            part=ineligible,
            still=third,
            before=percent_text(Fraction(parts[0], whole)),
            after=percent_text(Fraction(first, after) if after else Fraction(0)),
        ),
        step("Without a split only paying the whole line, {payoff}, clears it.", payoff=whole),
    )


# -- room left unused ----------------------------------------------------------------


def _missed(start: Start, line: str, first: str, room: int) -> CurePlan | None:
    into = _into(start.household)
    if into is None or line not in start.traced.lines or room <= 0:
        return None
    rate = start.rate(line)
    mixed = start.principal(line)[2] > 0
    names = sub_accounts(start.household, line)
    clean = names[0] if mixed else line
    steps: list[Step] = []
    accounts: tuple[Line, ...] = ()
    if mixed:
        old = next(one for one in start.household.lines if one.ref == line)
        accounts = (replace(old, ref=clean),)
        steps.append(
            step(
                "{line} holds ineligible use: have {clean} opened under the same limit first, "
                "so that the new draw stays apart.",
                line=line,
                clean=clean,
            )
        )
    steps += [
        step(
            "Draw {amount} on {line} and send it the same day to {account}.",
            amount=room,
            line=clean,
            account=into,
        ),
        step("Keep the purchase confirmation and record the use of the draw."),
        step("If the household chose to wait, record that choice and its reason."),
    ]
    draw = Move(clean, "draw", room, (_invested(room, into),))
    days = (start.day - first_day(first)).days
    return CurePlan(
        code="missed-reborrow",
        line=line,
        day=start.day,
        rate=rate,
        steps=tuple(steps),
        cautions=(),
        cash=0,
        more_interest=round_half_up(Fraction(rate) * room),
        not_restored=round_half_up(Fraction(rate) * room * days / 365),
        scenarios=(
            _scenario("left", start, line, 0),
            _scenario("cured", start, line, 0, (draw,), accounts),
        ),
    )


# -- playing -------------------------------------------------------------------------


def _into(household: Household) -> str | None:
    """The account the plan re-borrows into; None when it does not."""
    plan = household.plan
    return None if plan is None or plan.reborrow is None else plan.reborrow.into


def _invested(cents: int, into: str) -> Split:
    """A draw invested the same day, with its confirmation."""
    return Split(cents, "income-investment", into, None, (Evidence("confirmation", None),))


def _scenario(
    name: ScenarioName,
    start: Start,
    line: str,
    cash: int,
    moves: tuple[Move, ...] = (),
    accounts: tuple[Line, ...] = (),
) -> Scenario:
    household = played(start, moves, accounts)
    ends = last_day(start.months[-1])
    traced = trace(household, ends)
    flows = month_flows(household, traced)
    year = next(
        one
        for one in deduction_years(household, traced, start.months[-1])
        if one.year == start.day.year
    )
    refs = (line, *(account.ref for account in accounts))
    mine = [traced.lines[ref] for ref in refs]
    classes = NONE
    for one in mine:
        classes = add(classes, one.classes)
    return Scenario(
        name=name,
        cash=cash,
        classes=classes,
        mixed=any(one.principal[0] > 0 and one.principal[2] > 0 for one in mine),
        months=tuple(
            (month, flows[month].deductible if month in flows else 0) for month in start.months
        ),
        year=year.deductible,
        tax_saving=year.tax_saving,
    )
