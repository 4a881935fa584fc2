"""The form in which a person says what a draw was used for: read, checked, filled again."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, cast

from django.http import QueryDict
from django.utils.translation import gettext as _

from config.problems import Problem
from planning.core.money import cents_from_text, text_from_cents
from planning.core.types import CLASSES, USES, Evidence, Split, UseClass

ROWS = 6
REASON_LENGTH = 1000
_WHERE = re.compile(r"splits\[([0-9]+)\]\.?(\w*)")


@dataclass
class Row:
    """One row of the form as typed, with what is wrong with it."""

    amount: str = ""
    use: str = ""
    to: str = ""
    of: str = ""
    papers: tuple[str, ...] = ()
    other: str = ""
    errors: list[str] = field(default_factory=list)

    @property
    def blank(self) -> bool:
        """Whether nobody wrote into it."""
        return not (self.amount or self.use or self.to or self.of or self.papers or self.other)


@dataclass
class UseForm:
    """What was typed, the splits it says, and what is wrong with it as a whole."""

    rows: list[Row]
    reason: str = ""
    seen: int = 0
    errors: list[str] = field(default_factory=list)
    splits: tuple[Split, ...] = ()

    @property
    def faulty(self) -> bool:
        """Whether anything has to be mended first."""
        return bool(self.errors or any(row.errors for row in self.rows))

    @property
    def mark(self) -> str:
        """A word that stands for just these splits and this reason: what was previewed is saved."""
        told = repr((self.seen, self.splits, self.reason))
        return sha256(told.encode("utf-8")).hexdigest()

    def blame(self, problems: Sequence[Problem]) -> None:
        """Put the problems of a decision beside the rows they are about."""
        filled = [row for row in self.rows if not row.blank]
        for one in problems:
            found = _WHERE.match(one.where)
            text = f"{_(one.message)}. {_(one.remedy)}."
            if found and int(found[1]) < len(filled):
                filled[int(found[1])].errors.append(text)
            else:
                self.errors.append(text)


def form_of(splits: Sequence[Split], seen: int, known: Sequence[str]) -> UseForm:
    """The form filled with what is claimed now; `known` are the papers offered as boxes."""
    rows = [
        Row(
            amount=text_from_cents(one.amount_cents),
            use=one.use,
            to=one.to or "",
            of=one.of or "",
            papers=tuple(paper.ref for paper in one.evidence if paper.ref in known),
            other=", ".join(paper.ref for paper in one.evidence if paper.ref not in known),
        )
        for one in splits
    ]
    rows += [Row() for _number in range(ROWS - len(rows))]
    return UseForm(rows, seen=seen, splits=tuple(splits))


def read_form(
    posted: QueryDict, accounts: Mapping[str, str], held: Sequence[Split], drawn_cents: int
) -> UseForm:
    """Read what was posted. `accounts` are the household's, `held` the splits in force.

    A paper that the decision in force knows from a date on keeps that date.
    """
    dates = {paper.ref: paper.on for one in held for paper in one.evidence}
    count = max(ROWS, len(held))
    rows = [_row(posted, number) for number in range(count)]
    seen = posted.get("seen", "")
    form = UseForm(
        rows,
        reason=posted.get("reason", "").strip(),
        seen=int(seen) if seen.isascii() and seen.isdigit() and len(seen) < 7 else 0,
    )
    form.splits = tuple(
        split
        for row in rows
        if not row.blank and (split := _split(row, accounts, dates)) is not None
    )
    if not form.reason:
        form.errors.append(_("Say how you know what the money was used for."))
    elif len(form.reason) > REASON_LENGTH or "\x00" in form.reason:
        form.errors.append(_("Keep the reason to 1,000 plain characters."))
    if all(row.blank for row in rows) and not held:
        form.errors.append(_("Fill at least one row."))
    if sum(one.amount_cents for one in form.splits) > drawn_cents:
        form.errors.append(
            _("The splits add up to more than the draw. What is left out counts as unsupported.")
        )
    return form


def _row(posted: QueryDict, number: int) -> Row:
    def said(name: str) -> str:
        return posted.get(f"{name}-{number}", "").strip()

    return Row(
        amount=said("amount"),
        use=said("use"),
        to=said("to"),
        of=said("of"),
        papers=tuple(dict.fromkeys(one for one in posted.getlist(f"paper-{number}") if one)),
        other=said("other"),
    )


def _split(row: Row, accounts: Mapping[str, str], dates: Mapping[str, Any]) -> Split | None:
    cents = _cents(row.amount)
    if cents is None or cents <= 0:
        row.errors.append(_("Write an amount such as 1204.37."))
    if row.use not in USES:
        row.errors.append(_("Choose what this part was used for."))
    if row.to and row.to not in accounts:
        row.errors.append(_("Choose an account of the household."))
    elif row.use == "income-investment" and accounts.get(row.to, "line") == "line":
        row.errors.append(_("Choose the investment account the money went to."))
    elif row.use == "refinance" and accounts.get(row.to) != "line":
        row.errors.append(_("Choose the line that was paid off."))
    elif row.use == "line-interest" and row.to and accounts[row.to] != "line":
        row.errors.append(_("Choose the line whose interest was paid, or none."))
    if row.of and (row.of not in CLASSES or row.use != "refinance"):
        row.errors.append(_("Only a refinancing names a class."))
    refs = [*row.papers, *(one.strip() for one in row.other.split(","))]
    names = tuple(dict.fromkeys(one for one in refs if one))
    if any(len(one) > 200 or any(ord(letter) < 32 for letter in one) for one in names):
        row.errors.append(_("Keep the name of a paper to 200 plain characters."))
    if row.errors:
        return None
    return Split(
        amount_cents=cast("int", cents),
        use=row.use,
        to=row.to or None,
        of=cast("UseClass", row.of) if row.of else None,
        evidence=tuple(Evidence(one, dates.get(one)) for one in names),
    )


def _cents(text: str) -> int | None:
    """Cents of an amount as people write it, English or French; None when it is none."""
    plain = re.sub(r"[\s$\u00a0\u202f]", "", text)
    if "," in plain and re.search(r",[0-9]{1,2}\Z", plain) and "." not in plain:
        plain = plain.replace(",", ".")
    plain = re.sub(r",(?=[0-9]{3}(?:[,.]|\Z))", "", plain)
    if not re.fullmatch(r"[0-9]{1,12}(\.[0-9]{1,2})?", plain):
        return None
    whole, _point, part = plain.partition(".")
    return cents_from_text(f"{whole}.{part:0<2}")
