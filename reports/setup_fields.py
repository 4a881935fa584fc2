"""The fields of the set-up forms: one table that reading, showing and checking go by.

A field's name in the form is its path in the household file, so that a problem
of the reader names the very field. Labels are what people read.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from django.utils.translation import gettext_lazy as _

from planning.core.household_parts import ACCOUNT_KINDS, FREQUENCIES, PROVINCES
from planning.core.types import USES

Kind = Literal["text", "money", "percent", "whole", "day", "choice", "people", "account", "ref"]


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its key below its row, how it is read, what people read beside it.

    `default` is what a new row starts with. `known` are the words of a choice.
    """

    key: str
    kind: Kind
    label: Any
    help: Any = ""
    known: tuple[tuple[str, Any], ...] = ()
    default: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Rows of one list of the file, or one object of it."""

    path: str
    title: Any
    fields: tuple[Field, ...]
    many: bool = True
    stem: str = ""
    most: int = 12
    inner: Group | None = None
    help: Any = ""


def _same(*words: str) -> tuple[tuple[str, Any], ...]:
    return tuple((one, one) for one in words)


PROVINCE = _same(*PROVINCES)
REF = Field("ref", "ref", _("Reference"), _("left empty, it gets one; it stays once given"))

HOUSEHOLD = Group(
    "household",
    _("Household"),
    (
        Field("ref", "ref", _("Reference of the household"), _("letters, digits, dot, hyphen")),
        Field("name", "text", _("Name of the household")),
        Field("province", "choice", _("Province or territory"), known=PROVINCE, default="ON"),
        Field("advisor", "text", _("Advisor's e-mail address")),
    ),
    many=False,
)
MEMBERS = Group(
    "members",
    _("Members"),
    (
        REF,
        Field("name", "text", _("Name")),
        Field("province", "choice", _("Province or territory"), known=PROVINCE, default="ON"),
        Field("born", "whole", _("Year of birth")),
        Field("income.2024", "money", _("Taxable income 2024")),
        Field("income.2025", "money", _("Taxable income 2025")),
        Field("income.2026", "money", _("Taxable income 2026")),
    ),
    stem="m",
)
FACILITY = Group(
    "facility",
    _("Facility"),
    (
        Field("lender_value", "money", _("Value of the home by the lender")),
        Field("valued_on", "day", _("Valued on")),
        Field("registered_limit", "money", _("Registered limit, all parts together")),
        Field(
            "revolving_cap",
            "percent",
            _("Revolving part at most, % of the value"),
            _("65 by the federal guideline"),
            default="0.65",
        ),
        Field("line_cap", "money", _("The line at most")),
        Field(
            "excess_rule",
            "choice",
            _("Principal above the revolving part"),
            known=(
                ("excess-first", _("lowers the amortising part first, then frees room")),
                ("proportional", _("lowers it in proportion, the rest frees room")),
                ("none", _("frees room, dollar for dollar")),
            ),
            default="excess-first",
        ),
        Field(
            "capitalised_interest",
            "choice",
            _("Interest the line takes on itself"),
            known=(
                ("compounding", _("interest on unpaid interest")),
                ("paid-by-advance", _("paid by an advance of the line")),
            ),
            default="compounding",
        ),
        Field(
            "interest_method",
            "choice",
            _("Interest is deducted when"),
            known=(("paid", _("paid in the year")), ("payable", _("payable for the year"))),
            default="paid",
        ),
    ),
    many=False,
)
TERMS = Group(
    "terms",
    _("Terms"),
    (
        Field("starts", "day", _("Starts")),
        Field("matures", "day", _("Matures")),
        Field(
            "kind",
            "choice",
            _("Kind of rate"),
            known=(
                ("fixed", _("fixed")),
                ("adjustable", _("adjustable: the payment follows prime")),
                ("static", _("variable with a payment that stands still")),
            ),
            default="fixed",
        ),
        Field("rate", "percent", _("Rate, % (fixed)")),
        Field("spread", "percent", _("Spread to prime, points (variable)")),
        Field(
            "payment", "money", _("Payment the lender states"), _("left empty, it is worked out")
        ),
    ),
    most=20,
)
MORTGAGES = Group(
    "mortgages",
    _("Mortgage"),
    (
        REF,
        Field("original_principal", "money", _("Original principal")),
        Field("@balance", "money", _("Balance when the plan starts")),
        Field("first_payment", "day", _("First payment")),
        Field("amortization_months", "whole", _("Amortization, months")),
        Field(
            "frequency",
            "choice",
            _("Payments"),
            known=tuple(
                zip(
                    FREQUENCIES,
                    (
                        _("monthly"),
                        _("twice a month"),
                        _("every two weeks"),
                        _("weekly"),
                        _("every two weeks, accelerated"),
                        _("weekly, accelerated"),
                    ),
                    strict=True,
                )
            ),
            default="monthly",
        ),
        Field(
            "compounding",
            "choice",
            _("Compounding"),
            known=(
                ("semi-annual", _("twice a year")),
                ("monthly", _("every month")),
                ("annual", _("once a year")),
            ),
            default="semi-annual",
        ),
        Field(
            "prepayment_privilege",
            "percent",
            _("Prepayments a year, % of the original principal"),
            default="0.15",
        ),
        Field("borrowers", "people", _("Borrowers")),
    ),
    stem="mtg",
    inner=TERMS,
)
OPENING = Group(
    "@opening",
    _("What the opening balance was used for"),
    (
        Field("amount", "money", _("Amount")),
        Field("use", "choice", _("Use"), known=_same(*USES), default="income-investment"),
        Field("to", "account", _("Account it went to")),
        Field("evidence", "text", _("Paper that shows it")),
    ),
    help=_(
        "The direct use of the money decides. What no row names counts as unsupported, "
        "and its interest is not deducted."
    ),
)
LINES = Group(
    "lines",
    _("Line of credit"),
    (
        REF,
        Field("spread", "percent", _("Spread to prime, points"), default="0.005"),
        Field(
            "day_basis",
            "choice",
            _("Days of a year"),
            known=(("365", _("365")), ("actual", _("actual days"))),
            default="365",
        ),
        Field("@balance", "money", _("Balance when the plan starts"), default="0.00"),
        Field("borrowers", "people", _("Borrowers")),
        Field("payer", "account", _("Who pays its interest")),
        Field("claimant", "account", _("Who deducts its interest")),
    ),
    stem="line",
    inner=OPENING,
)
PRIME = Group(
    "prime",
    _("Prime rate"),
    (Field("0", "day", _("From")), Field("1", "percent", _("Prime, %"))),
    most=200,
)
INVESTMENTS = Group(
    "investments",
    _("Investment account"),
    (
        REF,
        Field(
            "kind",
            "choice",
            _("Kind of account"),
            known=_same(*ACCOUNT_KINDS),
            default="non-registered",
        ),
        Field("@balance", "money", _("Value when the plan starts"), default="0.00"),
        Field("owners", "people", _("Owners")),
    ),
    stem="inv",
)
YIELDS = (
    ("eligible_dividend", _("Eligible dividends, % a year")),
    ("other_dividend", _("Other dividends, % a year")),
    ("interest", _("Interest, % a year")),
    ("foreign", _("Foreign income, % a year")),
    ("capital_gain", _("Capital gains paid out, % a year")),
    ("return_of_capital", _("Return of capital, % a year")),
)
RATES = (
    ("ordinary", _("Tax on ordinary income, %")),
    ("eligible_dividend", _("Tax on eligible dividends, %")),
    ("other_dividend", _("Tax on other dividends, %")),
    ("interest", _("Tax on interest, %")),
    ("foreign", _("Tax on foreign income, %")),
    ("capital_gain", _("Tax on capital gains, %")),
)
PLAN = Group(
    "plan",
    _("Plan"),
    (
        Field("starts", "day", _("Starts on the first of a month")),
        Field("months", "whole", _("Months"), default="300"),
        Field("reborrow.share", "percent", _("Re-borrowed of the room freed, %"), default="1"),
        Field("reborrow.line", "account", _("From the line")),
        Field("reborrow.into", "account", _("Into the account")),
        Field("reborrow.opening_draw", "money", _("Drawn at the start"), default="0.00"),
        Field("reborrow.reserve", "money", _("Room always kept"), default="0.00"),
        Field(
            "line_interest",
            "choice",
            _("The line's interest is paid"),
            known=(("from-cash", _("from the household's cash")), ("from-line", _("by the line"))),
            default="from-cash",
        ),
        Field(
            "investment.growth", "percent", _("Price growth, % a year, without what is paid out")
        ),
        *(Field(f"investment.yields.{key}", "percent", label) for key, label in YIELDS),
        Field(
            "investment.distributions",
            "choice",
            _("What the investments pay out"),
            known=(
                ("reinvest", _("is reinvested")),
                ("prepay", _("prepays the mortgage")),
                ("cash", _("stays as cash")),
            ),
            default="reinvest",
        ),
        Field(
            "refund",
            "choice",
            _("The tax saved"),
            known=(
                ("prepay", _("prepays the mortgage")),
                ("invest", _("is invested")),
                ("keep", _("is kept")),
            ),
            default="prepay",
        ),
        Field("refund_month", "whole", _("Month the tax saved comes back, 1 to 12"), default="5"),
        Field("inflation", "percent", _("Inflation, % a year"), default="0.02"),
        *(Field(f"marginal.{key}", "percent", label) for key, label in RATES),
    ),
    many=False,
    help=_(
        "Leave the six tax rates empty to have the tax of the claimant's income worked out "
        "year by year."
    ),
)


@dataclass(frozen=True, slots=True)
class Step:
    """A page of the set-up: its name in the address, its title, its groups."""

    name: str
    title: Any
    groups: tuple[Group, ...] = ()


STEPS = (
    Step("household", _("Household and members"), (HOUSEHOLD, MEMBERS)),
    Step("facility", _("Facility"), (FACILITY,)),
    Step("mortgages", _("Mortgages and terms"), (MORTGAGES,)),
    Step("line", _("Line of credit"), (LINES, PRIME)),
    Step("investments", _("Investments"), (INVESTMENTS,)),
    Step("plan", _("Plan"), (PLAN,)),
    Step("review", _("Review and save")),
)
