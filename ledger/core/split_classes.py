"""The class of one split of a draw: what it was used for, and whether that is shown.

The current, direct use decides (Bronfman Trust v. The Queen, [1987] 1 SCR 32).
Money claimed for income without a paper or a purchase behind it is unsupported:
the onus to trace is on the taxpayer (folio S3-F6-C1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ledger.core.line_state import LineState, shared
from ledger.core.trace_types import NONE, Classes, SplitTrace, add
from planning.core.money import prorate
from planning.core.types import CLASSES, Split

EVIDENCED = {"business-expense": "business", "rental-expense": "rental"}


@dataclass(frozen=True, slots=True)
class ClassedSplit:
    """A split as it was classed, in cents.

    `targets` shares out its eligible part; `inherited` is what follows the
    interest or debt it paid; `registered` went into a registered plan.
    """

    split: SplitTrace
    targets: Mapping[str, int]
    inherited: Classes = NONE
    registered: int = 0


def class_of_split(
    split: Split,
    line: str,
    paper: str | None,
    *,
    kinds: Mapping[str, str],
    lines: Mapping[str, LineState],
) -> ClassedSplit:
    """Class a split of a draw on `line`; its `amount_cents` is what is left to class.

    `paper` supports it (None: nothing known does), `kinds` are the investment
    accounts' kinds, `lines` the lines as they stand just before the draw.
    """
    cents = split.amount_cents
    kind = kinds.get(split.to or "")
    if split.use == "registered-plan" or kind not in (None, "non-registered"):
        return _classed(split, (0, 0, cents), registered=cents)
    if split.use == "line-interest":
        found = lines[split.to or line].interest_classes(cents)
        classes = add(found, (0, cents - sum(found), 0))
        return _classed(split, classes, {"interest": found[0]}, inherited=found)
    if split.use == "refinance":
        return _refinanced(split, lines[split.to or ""])
    if split.use == "income-investment":
        target = split.to or ""
    elif split.use in EVIDENCED:
        target = EVIDENCED[split.use]
    else:
        return _classed(split, (0, 0, cents), paper=paper)
    if paper is None:
        return _classed(split, (0, cents, 0))
    return _classed(split, (cents, 0, 0), {target: cents}, paper=paper)


def _refinanced(split: Split, old: LineState) -> ClassedSplit:
    """Money borrowed to repay an earlier debt keeps its use (ITA 20(3))."""
    cents = split.amount_cents
    if split.of is None:
        part = min(cents, sum(old.principal))
        found = shared(part, old.principal) if part else NONE
    else:
        index = CLASSES.index(split.of)
        part = min(cents, old.principal[index])
        found = (part * (index == 0), part * (index == 1), part * (index == 2))
    parts = prorate(found[0], list(old.targets.values())) if found[0] else ()
    targets = dict(zip(old.targets, parts, strict=False))
    return _classed(split, add(found, (0, cents - sum(found), 0)), targets, inherited=found)


def _classed(
    split: Split,
    classes: Classes,
    targets: Mapping[str, int] | None = None,
    *,
    inherited: Classes = NONE,
    registered: int = 0,
    paper: str | None = None,
) -> ClassedSplit:
    shown = SplitTrace(split.use, split.to, split.amount_cents, classes, paper)
    kept = {target: cents for target, cents in (targets or {}).items() if cents}
    return ClassedSplit(shown, kept, inherited, registered)
