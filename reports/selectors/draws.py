"""The pages of a household's draws, in the page's words."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_noop

from ledger.core.decision import DecisionEffect, FindingEffect
from ledger.core.paper_kinds import plain_text
from ledger.selectors.uses import (
    Decision,
    DrawOnFile,
    DrawToDecide,
    Paper,
    account_choices,
    draws_on_file,
    paper_with_bytes,
)
from planning.core.money import text_from_cents
from planning.core.types import CLASSES, USES, Split
from reports.use_form import UseForm

TEXT_SHOWN = 4000
YEAR_KEYS = (
    ("deductible", gettext_noop("Deductible")),
    ("unsupported", gettext_noop("Not deducted for want of evidence")),
    ("ineligible", gettext_noop("Not deductible")),
    ("tax_saving", gettext_noop("Tax saving")),
)
MISSING_WORDS = {
    "use": gettext_noop("say what it was used for"),
    "rest": gettext_noop("say what the rest was used for"),
    "paper": gettext_noop("show the purchase or invoice"),
    "file": gettext_noop("hand in the named paper"),
}
KIND_WORDS = {
    "pdf": gettext_noop("PDF"),
    "png": gettext_noop("PNG picture"),
    "jpeg": gettext_noop("JPEG picture"),
    "text": gettext_noop("Plain text"),
}
# What the look through a paper may answer, said in full so that it is translated.
PAPER_WORDS = (
    gettext_noop("the file is empty"),
    gettext_noop("the file is larger than 10 MB"),
    gettext_noop("the PDF breaks off before its end"),
    gettext_noop("there is something behind the end of the picture"),
    gettext_noop("the picture breaks off before its end"),
    gettext_noop("this is a web page or a drawing in text, not plain text"),
    gettext_noop("this is neither a PDF, a PNG or JPEG picture, nor plain text"),
    gettext_noop("the picture has more than 40 million pixels"),
    gettext_noop("the picture cannot be drawn"),
    gettext_noop("the PDF asks for a password"),
    gettext_noop("the PDF cannot be read"),
    gettext_noop("the PDF has no page"),
    gettext_noop("the PDF holds a script, or files of its own"),
    gettext_noop("Hand in a PDF, a PNG or JPEG picture, or plain text of at most 10 MB"),
    gettext_noop("Hand in 1 to 10 at a time"),
)
ACCOUNT_WORDS = {
    "line": gettext_noop("credit line"),
    "non-registered": gettext_noop("non-registered"),
    "rrsp": gettext_noop("RRSP"),
    "tfsa": gettext_noop("TFSA"),
    "fhsa": gettext_noop("FHSA"),
    "resp": gettext_noop("RESP"),
    "rdsp": gettext_noop("RDSP"),
}


def draws_page(access: Any, ref: str) -> dict[str, Any]:
    """Every draw, the oldest first, with what is missing."""
    household, found = draws_on_file(access, ref)
    rows = [draw_row(one) for one in found]
    return {
        "ref": household.ref,
        "name": household.name,
        "draws": rows,
        "missing": sum(1 for one in rows if one["missing"]),
    }


def draw_row(one: DrawOnFile) -> dict[str, Any]:
    """A draw as a row: amounts as decimal strings."""
    traced = one.traced
    return {
        "id": traced.id,
        "on": traced.on,
        "line": traced.line,
        "kind": traced.kind,
        "amount": text_from_cents(traced.amount),
        **dict(zip(CLASSES, map(text_from_cents, traced.classes), strict=True)),
        "splits": [
            {
                "use": split.use,
                "to": split.to,
                "amount": text_from_cents(split.amount),
                "supported_by": split.supported_by,
            }
            for split in traced.splits
        ],
        "papers": one.papers,
        "missing": [MISSING_WORDS[name] for name in one.missing],
    }


def draw_page(
    access: Any, ref: str, found: DrawToDecide, form: UseForm, effect: DecisionEffect | None
) -> dict[str, Any]:
    """One draw: how it stands, its papers, the form, what it would change, its decisions."""
    household = found.household
    return {
        "ref": household.ref,
        "name": household.name,
        "id": found.fact.entry.id,
        "on": found.fact.on,
        "line": found.fact.account,
        "kind": found.fact.entry.kind,
        "amount": text_from_cents(found.fact.amount),
        "stands": draw_row(found.on_file) if found.on_file else None,
        "papers": [_paper(access, ref, one) for one in found.papers],
        "withdrawn": [_paper(access, ref, one, shown=False) for one in found.withdrawn],
        "decisions": [_decision(one) for one in found.decisions],
        "form": form,
        "offered": offered_papers(found),
        "uses": USES,
        "classes": CLASSES,
        "accounts": [(name, ACCOUNT_WORDS[kind]) for name, kind in account_choices(household)],
        "effect": _effect(effect) if effect else None,
        "decides": access.can("use.decide"),
        "adds": access.can("evidence.add"),
    }


def offered_papers(found: DrawToDecide) -> tuple[str, ...]:
    """The papers a person ticks: those on file for the draw, and those decisions named."""
    named = (
        paper.ref for one in found.decisions for split in one.splits for paper in split.evidence
    )
    return tuple(dict.fromkeys([*(one.ref for one in found.papers), *named]))


def _paper(access: Any, ref: str, one: Paper, *, shown: bool = True) -> dict[str, Any]:
    text = ""
    if shown and one.kind == "text":
        text = plain_text(bytes(paper_with_bytes(access, ref, one.id).content.content))
    return {
        "id": one.id,
        "ref": one.ref,
        "name": one.name,
        "kind": KIND_WORDS[one.kind],
        "picture": shown and one.kind in ("png", "jpeg"),
        "text": text[:TEXT_SHOWN],
        "size": one.size,
        "sha256": one.sha256,
        "by": one.by,
        "on": one.at.date(),
    }


def _decision(one: Decision) -> dict[str, Any]:
    return {
        "revision": one.revision,
        "withdrawn": one.withdrawn,
        "reason": one.reason,
        "by": one.by,
        "on": one.at.date(),
        "time": f"{one.at:%H:%M} UTC",
        "splits": [split_row(split) for split in one.splits],
    }


def split_row(one: Split) -> dict[str, Any]:
    """A split as decided."""
    return {
        "amount": text_from_cents(one.amount_cents),
        "use": one.use,
        "to": one.to,
        "of": one.of,
        "evidence": [paper.ref for paper in one.evidence],
    }


def _effect(effect: DecisionEffect) -> dict[str, Any]:
    years: list[dict[str, Any]] = []
    for one in effect.years:
        changes = [
            {
                "title": title,
                "before": text_from_cents(getattr(one.before, key)),
                "after": text_from_cents(getattr(one.after, key)),
                "gap": text_from_cents(getattr(one.after, key) - getattr(one.before, key)),
            }
            for key, title in YEAR_KEYS
        ]
        if any(row["before"] != row["after"] for row in changes):
            years.append({"year": one.year, "rows": changes})
    return {
        "through": effect.through,
        "from": f"{effect.on:%Y-%m}",
        "years": years,
        "findings": [_finding(one) for one in effect.findings],
    }


def _finding(one: FindingEffect) -> dict[str, Any]:
    what = "changes"
    if one.before is None:
        what = "opens"
    elif one.after is None:
        what = "closes"
    held = one.after or one.before
    assert held is not None
    return {
        "what": what,
        "code": one.code,
        "key": one.key,
        "severity": held.severity,
        "before": None if one.before is None else text_from_cents(one.before.dollars_cents),
        "after": None if one.after is None else text_from_cents(one.after.dollars_cents),
    }
