"""The household as the core sees it: frozen values, cents and dates.

One-to-one with the household file (docs/reference/household-file.md). The
names follow the file, with units added: `amount` in the file is `amount_cents`
here. Nothing here computes; nothing here knows the database.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

from planning.core.suitability import NOTHING_ASSESSED, Suitability

UseClass = Literal["eligible", "unsupported", "ineligible"]
CLASSES: tuple[UseClass, UseClass, UseClass] = ("eligible", "unsupported", "ineligible")

Frequency = Literal[
    "monthly",
    "semi-monthly",
    "biweekly",
    "weekly",
    "accelerated-biweekly",
    "accelerated-weekly",
]
Compounding = Literal["semi-annual", "monthly", "annual"]
BiweeklyBasis = Literal["annuity", "annual-total"]
TermKind = Literal["fixed", "adjustable", "static"]
ExcessRule = Literal["excess-first", "proportional", "none"]
CapitalisedInterest = Literal["compounding", "paid-by-advance"]
InterestMethod = Literal["paid", "payable"]
AccountKind = Literal["non-registered", "rrsp", "tfsa", "fhsa", "resp", "rdsp"]
DayBasis = Literal["365", "actual"]
YieldKind = Literal[
    "eligible_dividend",
    "other_dividend",
    "interest",
    "foreign",
    "capital_gain",
    "return_of_capital",
]
YIELD_KINDS: tuple[YieldKind, ...] = (
    "eligible_dividend",
    "other_dividend",
    "interest",
    "foreign",
    "capital_gain",
    "return_of_capital",
)
USES: tuple[str, ...] = (
    "income-investment",
    "business-expense",
    "rental-expense",
    "line-interest",
    "registered-plan",
    "personal",
    "personal-mortgage",
    "non-income-asset",
    "life-policy",
    "no-interest-loan",
    "refinance",
)

RateSteps = tuple[tuple[date, Decimal], ...]
"""A rate that holds from each date to the next, dates strictly rising."""


@dataclass(frozen=True, slots=True)
class Gain:
    """A capital gain a person realised on a day: the whole of it, in cents."""

    on: date
    amount_cents: int


@dataclass(frozen=True, slots=True)
class Member:
    """A person of the household; `income` is taxable income by year, in cents.

    `gains` are realised gains beyond that income, by date.
    """

    ref: str
    name: str
    province: str
    born: int | None
    income: tuple[tuple[int, int], ...]
    gains: tuple[Gain, ...] = ()


@dataclass(frozen=True, slots=True)
class Facility:
    """The readvanceable facility: value on the lender's file, limits, treatments."""

    lender_value_cents: int
    valued_on: date | None
    registered_limit_cents: int
    revolving_cap: Decimal
    line_cap_cents: int
    excess_rule: ExcessRule
    capitalised_interest: CapitalisedInterest
    interest_method: InterestMethod


@dataclass(frozen=True, slots=True)
class Term:
    """A mortgage term. `rate` for fixed; `spread` to prime for adjustable and static."""

    starts: date
    matures: date
    kind: TermKind
    rate_annual: Decimal | None
    spread: Decimal | None
    payment_cents: int | None


@dataclass(frozen=True, slots=True)
class Mortgage:
    """A non-deductible mortgage with its terms in date order."""

    ref: str
    original_principal_cents: int
    first_payment: date
    amortization_months: int
    frequency: Frequency
    compounding: Compounding
    biweekly_basis: BiweeklyBasis
    prepayment_privilege: Decimal
    borrowers: tuple[str, ...]
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """A credit line of the facility; its rate is prime + spread unless stated."""

    ref: str
    day_basis: DayBasis
    spread: Decimal
    borrowers: tuple[str, ...]
    payer: str | None
    claimant: str | None
    owners_explained: str | None


@dataclass(frozen=True, slots=True)
class Investment:
    """An investment account; `kind` other than non-registered never earns a deduction."""

    ref: str
    kind: AccountKind
    owners: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Entry:
    """One posting of a statement, amount positive.

    Optional fields by kind: `interest_cents`, `principal_cents` (mortgage
    payment), `source` (the file's `from`: a draw id or "own"), `of`, `paid`
    ("cash" | "reinvested"), `to`, `proceeds_cents`, `cost_fraction`.
    """

    id: str
    date: date
    kind: str
    amount_cents: int
    interest_cents: int | None = None
    principal_cents: int | None = None
    source: str | None = None
    of: str | None = None
    paid: str | None = None
    to: str | None = None
    proceeds_cents: int | None = None
    cost_fraction: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement of one account; `entries` keep the statement's sequence."""

    account: str
    starts: date
    ends: date
    opening_cents: int
    closing_cents: int
    limit_cents: int | None
    value_cents: int | None
    rates: RateSteps
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Evidence:
    """A paper that supports a use; with `on`, known from that date only."""

    ref: str
    on: date | None


@dataclass(frozen=True, slots=True)
class Split:
    """A part of a draw and what it was used for; `of` only for use `refinance`."""

    amount_cents: int
    use: str
    to: str | None
    of: UseClass | None
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Use:
    """The claimed uses of one draw, opening, adjustment or fee."""

    draw: str
    splits: tuple[Split, ...]


@dataclass(frozen=True, slots=True)
class Renewal:
    """A planned renewal into a fixed rate."""

    mortgage: str
    on: date
    rate_annual: Decimal


@dataclass(frozen=True, slots=True)
class Reborrow:
    """How the plan re-borrows freed room."""

    share: Decimal
    line: str
    into: str
    opening_draw_cents: int
    reserve_cents: int


@dataclass(frozen=True, slots=True)
class PlanInvestment:
    """Growth after distributions, yields by kind (a year), what is done with them."""

    growth_annual: Decimal
    yields_annual: tuple[tuple[YieldKind, Decimal], ...]
    distributions: Literal["reinvest", "prepay", "cash"]


@dataclass(frozen=True, slots=True)
class MarginalRates:
    """Flat tax on the amounts actually received; return of capital is untaxed."""

    ordinary: Decimal
    by_kind: tuple[tuple[YieldKind, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Extra:
    """A planned prepayment out of the household's cash."""

    on: date
    amount_cents: int


@dataclass(frozen=True, slots=True)
class Dam:
    """Monthly cash damming of rental or business receipts and expenses (F38)."""

    kind: Literal["rental", "business"]
    receipts_cents: int
    expenses_cents: int


@dataclass(frozen=True, slots=True)
class Plan:
    """What was intended: the inputs of the simulation of MODEL section 5."""

    starts: date
    months: int
    opening: tuple[tuple[str, int], ...]
    prime: RateSteps
    renewals: tuple[Renewal, ...]
    reborrow: Reborrow | None
    line_interest: Literal["from-cash", "from-line"]
    investment: PlanInvestment
    refund: Literal["prepay", "invest", "keep"]
    refund_month: int
    marginal: MarginalRates | None
    extras: tuple[Extra, ...]
    dam: Dam | None
    inflation: Decimal
    discount_annual: Decimal | None


@dataclass(frozen=True, slots=True)
class Household:
    """Everything one household file says."""

    ref: str
    name: str
    province: str
    advisor: str | None
    members: tuple[Member, ...]
    facility: Facility
    mortgages: tuple[Mortgage, ...]
    lines: tuple[Line, ...]
    investments: tuple[Investment, ...]
    prime: RateSteps
    statements: tuple[Statement, ...]
    uses: tuple[Use, ...]
    plan: Plan | None
    suitability: Suitability = NOTHING_ASSESSED

    def statements_of(self, account: str) -> tuple[Statement, ...]:
        """The account's statements by start date."""
        found = [one for one in self.statements if one.account == account]
        return tuple(sorted(found, key=lambda one: (one.starts, one.ends)))
