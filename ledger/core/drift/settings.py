"""A firm's thresholds as it writes them: names, kinds, ranges.

Amounts are decimal strings under the threshold's name without `_cents`, shares
decimal strings, days, months and years whole numbers. Only what differs from
the defaults is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from itertools import pairwise
from typing import Literal

from config.problems import BadInput, Problem
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from planning.core.money import cents_from_text, rate_from_text, text_from_cents

Kind = Literal["amount", "share", "days", "months", "years"]
HIGHEST_CENTS = 100_000_000
# Whole numbers by kind, both ends included.
_RANGES: Mapping[Kind, tuple[int, int]] = {
    "days": (0, 366),
    "months": (1, 60),
    "years": (0, 120),
}
_LAST_DAYS = 28
_HIGHEST_SHARE: Mapping[str, Decimal] = {
    "rate_off_plan": Decimal("0.10"),
    "underwater_note": Decimal(5),
    "underwater_fix": Decimal(5),
    "underwater_act": Decimal(5),
    "leverage_net_worth": Decimal(10),
    "leverage_liquid": Decimal(10),
}
# The first must not be below the second, nor the second below the third.
_FALLING = (
    ("renewal_days", "renewal_fix_days", "renewal_act_days"),
    ("underwater_note", "underwater_fix", "underwater_act"),
)
REMEDIES: Mapping[Kind, str] = {
    "amount": 'Write a decimal string with two places, such as "50.00"',
    "share": 'Write a decimal fraction as a string: a tenth is "0.10"',
    "days": "Write a whole number of days, such as 10",
    "months": "Write a whole number of months, such as 6",
    "years": "Write a whole number of years, such as 60",
}


@dataclass(frozen=True, slots=True)
class Setting:
    """One threshold: the name a firm writes, the field it sets, its kind."""

    name: str
    field: str
    kind: Kind


def _kind(field: str) -> Kind:
    for kind in ("days", "months", "years"):
        if field.endswith(f"_{kind}"):
            return kind
    return "amount" if field.endswith("_cents") else "share"


SETTINGS: tuple[Setting, ...] = tuple(
    Setting(one.name.removesuffix("_cents"), one.name, _kind(one.name))
    for one in fields(Thresholds)
)
"""Every threshold, in the order of the rules."""
_CLASHES = {one.name for one in SETTINGS if sum(one.name == two.name for two in SETTINGS) > 1}
assert not _CLASHES, "two thresholds share a name"


def thresholds_from(stored: object, file: str = "thresholds") -> Thresholds:
    """The defaults with what `stored` (a name -> value object) changes.

    Raises BadInput with every fault: a name that is no threshold, a value of
    the wrong kind or out of range, steps in the wrong order.
    """
    if not isinstance(stored, Mapping):
        raise BadInput([Problem(file, "", "expected an object of thresholds", "Write { ... }")])
    known = {one.name: one for one in SETTINGS}
    problems: list[Problem] = []
    changed: dict[str, int | Decimal] = {}
    for name, value in stored.items():
        setting = known.get(name)
        if setting is None:
            problems.append(
                Problem(
                    file,
                    str(name),
                    f"{name!r} is not a threshold",
                    f"Known: {', '.join(sorted(known))}",
                )
            )
            continue
        try:
            changed[setting.field] = value_of(setting, value)
        except ValueError as error:
            problems.append(Problem(file, name, str(error), REMEDIES[setting.kind]))
    found = replace(DEFAULTS, **changed)  # type: ignore[arg-type]
    problems += _order_problems(found, file)
    if problems:
        raise BadInput(problems)
    return found


def value_of(setting: Setting, value: object) -> int | Decimal:
    """A written value as the field holds it. Raises ValueError when it is not one, or out of
    range.
    """
    if setting.kind in _RANGES:
        low, high = _RANGES[setting.kind]
        if setting.name == "missed_reborrow_days":
            low, high = 1, _LAST_DAYS
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"{value!r} is not a whole number of {setting.kind}")
        if not low <= value <= high:
            raise ValueError(f"{value} is out of range: {low} to {high} {setting.kind}")
        return value
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is not written as a decimal string")
    if setting.kind == "amount":
        cents = cents_from_text(value)
        if not 0 <= cents <= HIGHEST_CENTS:
            highest = text_from_cents(HIGHEST_CENTS)
            raise ValueError(f"{value} is out of range: 0.00 to {highest}")
        return cents
    share, highest_share = rate_from_text(value), _HIGHEST_SHARE.get(setting.name, Decimal(1))
    if not 0 <= share <= highest_share:
        raise ValueError(f"{value} is out of range: 0 to {highest_share}")
    return share


def _order_problems(found: Thresholds, file: str) -> list[Problem]:
    return [
        Problem(
            file,
            below,
            f"{below} is above {above}",
            f"Keep {', '.join(names)} in falling order",
        )
        for names in _FALLING
        for above, below in pairwise(names)
        if getattr(found, below) > getattr(found, above)
    ]


def written(setting: Setting, thresholds: Thresholds) -> int | str:
    """A threshold's value as a firm writes it."""
    value: int | Decimal = getattr(thresholds, setting.field)
    if isinstance(value, Decimal):
        return f"{value:f}"
    return text_from_cents(value) if setting.kind == "amount" else value


def thresholds_json(thresholds: Thresholds) -> dict[str, int | str]:
    """What differs from the defaults, as a firm keeps it."""
    return {
        one.name: written(one, thresholds)
        for one in SETTINGS
        if getattr(thresholds, one.field) != getattr(DEFAULTS, one.field)
    }
