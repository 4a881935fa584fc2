"""The set-up pages: forms with the problems beside their fields, the check, the review."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path
from typing import Any
from uuid import UUID

from django.http import Http404
from django.utils.translation import get_language
from django.utils.translation import gettext as _

import planning
from config.problems import BadInput, Problem
from ledger.services.households import read_file
from ledger.services.setting_up import FILE, bytes_of, digest_of, whole_file
from planning.access import Access
from planning.core.household_file import FORMAT, VERSION, household_to_json
from planning.core.money import text_from_cents
from planning.core.plan_outcome import Outcome, outcome
from planning.core.types import Household
from planning.models import Household as HouseholdRow
from planning.models import HouseholdDraft
from planning.selectors.drafts import my_drafts
from planning.services.drafts import own_draft
from reports import plan_charts
from reports.plan_figures import figure_rows
from reports.setup_fields import STEPS, Group, Step
from reports.setup_form import Json, accounts, field_of, people, shown, step_of, value_at
from reports.setup_worked import worked_rows

FIRST_MONTHS = 3


def new_content(access: Access, today: date) -> Json:
    """An empty household file: what a new draft begins with."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "household": {"province": "ON", "advisor": access.actor},
        "members": [],
        "facility": {},
        "mortgages": [],
        "lines": [],
        "investments": [],
        "prime": _published_prime(today),
        "statements": [],
        "uses": [],
        "plan": {"starts": today.replace(day=1).isoformat(), "opening": {}},
    }


def _published_prime(today: date) -> list[list[str]]:
    """The latest published prime rate on or before a day, as a series of one row."""
    path = Path(planning.__file__).parent / "data" / "rates" / "prime.csv"
    with path.open(encoding="utf-8", newline="") as file:
        steps = [
            [row["observed_on"], row["prime_rate"]]
            for row in csv.DictReader(line for line in file if not line.startswith("#"))
            if row["observed_on"] <= today.isoformat()
        ]
    return steps[-1:]


def start_page(access: Access) -> dict[str, Any]:
    """The drafts a person may go on with."""
    return {
        "drafts": [
            {
                "id": one.pk,
                "name": value_at(one.content, "household.name") or _("not named yet"),
                "ref": value_at(one.content, "household.ref") or "",
                "change": one.household_id is not None,
                "on": one.changed_at.date(),
            }
            for one in my_drafts(access)
        ]
    }


def draft_of(access: Access, draft_id: UUID) -> tuple[HouseholdDraft, HouseholdRow | None]:
    """The person's draft and the household it changes. Raises NotVisibleError."""
    draft = own_draft(access, draft_id)
    row = None if draft.household_id is None else access.household(draft.household_id)
    return draft, row


def checked(content: Json, row: HouseholdRow | None) -> tuple[Household | None, list[Problem]]:
    """The household that a draft stands for, or everything that is wrong with it."""
    try:
        return read_file(FILE, bytes_of(whole_file(content, row))), []
    except BadInput as error:
        return None, list(error.problems)


def step_page(
    draft: HouseholdDraft,
    row: HouseholdRow | None,
    step: Step,
    extra: tuple[Problem, ...] = (),
    *,
    judged: bool = True,
) -> dict[str, Any]:
    """A step's form. `judged`: with its problems; a form nobody has filled in yet shows none."""
    content = draft.content
    value, problems = checked(content, row)
    placed = _placed([*problems, *extra], content)
    here = placed.get(step.name, {}) if judged else {}
    page = {
        "draft": draft.pk,
        "ref": value_at(content, "household.ref") or "",
        "name": value_at(content, "household.name") or _("New household"),
        "change": row is not None,
        "step": step,
        "number": STEPS.index(step) + 1,
        "steps": [
            {
                "step": one,
                "here": one is step,
                "faults": sum(len(found) for found in placed.get(one.name, {}).values()),
            }
            for one in STEPS
        ],
        "groups": [_group(group, content, here, row) for group in step.groups],
        "faults": [
            {"field": name, "message": one.message, "remedy": one.remedy}
            for name, found in here.items()
            for one in found
        ],
        "answer": _answer(value) if step.name in ("plan", "review") else None,
        "worked": worked_rows(content, value) if step.name == "facility" else None,
    }
    return page | (_review(content, row, value, placed) if step.name == "review" else {})


def _placed(problems: list[Problem], content: Json) -> dict[str, dict[str, list[Problem]]]:
    """Problems by step and by the form's field."""
    found: dict[str, dict[str, list[Problem]]] = {}
    for one in problems:
        field = field_of(one.where, content)
        found.setdefault(step_of(field), {}).setdefault(field, []).append(one)
    return found


def _group(
    group: Group, content: Json, faults: dict[str, list[Problem]], row: HouseholdRow | None
) -> dict[str, Any]:
    held = content.get(group.path)
    if not group.many:
        rows = [_row(group, group.path, held or {}, content, faults, row)]
    else:
        listed = list(held or ())
        listed = [dict(enumerate(one)) if isinstance(one, list) else one for one in listed]
        listed = [{str(key): value for key, value in one.items()} for one in listed]
        rows = [
            _row(group, f"{group.path}[{at}]", one, content, faults, row)
            for at, one in enumerate([*listed, None])
        ]
    return {"group": group, "rows": rows}


def _row(
    group: Group,
    path: str,
    held: Json | None,
    content: Json,
    faults: dict[str, list[Problem]],
    row: HouseholdRow | None,
) -> dict[str, Any]:
    fields = [_field(one, path, held, content, faults) for one in group.fields]
    inner = group.inner
    if inner is None or (inner.path == "@opening" and row is not None):
        return {"path": path, "fields": fields, "fresh": held is None, "inner": None}
    kept = (held or {}).get(inner.path) or []
    if inner.path == "@opening" and held:
        draw = f"{held.get('ref')}-opening"
        uses = [one for one in content.get("uses") or () if one.get("draw") == draw]
        kept = uses[0]["splits"] if uses else []
    below = f"{path}.{inner.path}"
    rows = [
        _row(inner, f"{below}[{at}]", one, content, faults, row)
        for at, one in enumerate([*kept, None])
    ]
    return {
        "path": path,
        "fields": fields,
        "fresh": held is None,
        "inner": {"group": inner, "rows": rows},
    }


def _field(
    field: Any, path: str, held: Json | None, content: Json, faults: dict[str, list[Problem]]
) -> dict[str, Any]:
    name = f"{path}.{field.key}"
    row = held or {}
    value = value_at(row, field.key)
    if field.key == "@balance":
        value = value_at(content, "plan.opening") or {}
        value = value.get(row.get("ref", ""))
    # Objects begin with their defaults; a row that is there says what it says.
    fresh = held is None or not any(key != "opening" and key != "starts" for key in row)
    if value is None and fresh:
        value = field.default
    choices = [(str(word), label) for word, label in field.known]
    if field.kind == "people":
        choices = people(content)
    elif field.key in ("payer", "claimant"):
        choices = [("", "–"), *people(content)]
    elif field.key == "reborrow.line":
        choices = [("", "–"), *accounts(content, "lines")]
    elif field.key == "reborrow.into":
        choices = [("", "–"), *accounts(content, "investments")]
    elif field.kind == "account":
        choices = [("", "–"), *accounts(content)]
    text = shown(field, value)
    return {
        "name": name,
        "kind": field.kind,
        "label": field.label,
        "help": field.help,
        "value": text,
        "chosen": value if isinstance(value, list) else [text],
        "choices": choices,
        "fixed": field.kind == "ref" and bool(row.get("ref")),
        "faults": faults.get(name, ()),
    }


def _answer(value: Household | None) -> dict[str, Any] | None:
    """The plan's first months, its figures and its loss cases, as the file stands."""
    if value is None or value.plan is None:
        return None
    try:
        played = outcome(value)
    except BadInput as error:
        return {"problems": error.problems}
    return _figures(played)


def _figures(played: Outcome) -> dict[str, Any]:
    return {
        "figures": figure_rows(None, played),
        "losses": plan_charts.plan_losses(None, played, get_language() or "en"),
        "warnings": played.result.warnings,
        "months": [
            {
                "month": one.month,
                "cells": [
                    text_from_cents(cents)
                    for cents in (
                        one.payment,
                        one.interest,
                        one.principal,
                        one.draw,
                        one.line_interest,
                        one.line_closing,
                        one.portfolio_closing,
                    )
                ],
            }
            for one in played.result.rows[:FIRST_MONTHS]
        ],
    }


def _review(
    content: Json,
    row: HouseholdRow | None,
    value: Household | None,
    placed: dict[str, dict[str, list[Problem]]],
) -> dict[str, Any]:
    whole = household_to_json(value) if value else whole_file(content, row)
    return {
        "ready": value is not None,
        "mark": digest_of(content),
        "text": bytes_of(whole).decode(),
        "parts": [
            {
                "step": step,
                "faults": [
                    {"field": name, "message": one.message, "remedy": one.remedy}
                    for name, found in placed.get(step.name, {}).items()
                    for one in found
                ],
                "groups": [_group(group, content, {}, row) for group in step.groups],
            }
            for step in STEPS
            if step.groups or placed.get(step.name)
        ],
    }


def step_or_404(name: str) -> Step:
    """The step of an address. Raises Http404."""
    for one in STEPS:
        if one.name == name:
            return one
    raise Http404
