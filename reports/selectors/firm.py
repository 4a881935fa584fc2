"""The page of the firm's settings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import get_language, gettext_noop
from django.utils.translation import gettext as _

from config import formatting
from config.problems import BadInput, Problem
from ledger.core.drift.settings import SETTINGS, Setting, thresholds_from, written
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from planning.access import Access
from planning.selectors.firm_settings import settings_history
from reports.packets.threshold_words import THRESHOLD_WORDS

UNITS = {
    "amount": gettext_noop("dollars"),
    "share": gettext_noop("decimal fraction"),
    "days": gettext_noop("days"),
    "months": gettext_noop("months"),
    "years": gettext_noop("years"),
}
REFUSALS = {
    "amount": gettext_noop("Write an amount such as 50.00, up to 1,000,000.00."),
    "share": gettext_noop("Write a decimal fraction such as 0.10 for a tenth, within its range."),
    "days": gettext_noop("Write a whole number of days from 0 to 366 (1 to 28 within a month)."),
    "months": gettext_noop("Write a whole number of months from 1 to 60."),
    "years": gettext_noop("Write a whole number of years from 0 to 120."),
    "order": gettext_noop("Keep the steps in falling order: this one is above the one before it."),
    "reason": gettext_noop("Give a reason of one line, at most 500 characters."),
    "version": gettext_noop(
        "Somebody changed the thresholds meanwhile: look at the present values and try again."
    ),
}
BY_NAME = {one.name: one for one in SETTINGS}


def firm_page(
    access: Access,
    typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> dict[str, Any]:
    """Every threshold with its default and present value, and the history.

    `typed` and `problems` bring a refused form back as it was written. Raises
    PermissionDenied unless the role may edit the firm.
    """
    history = settings_history(access)
    stored = history[0].thresholds if history else {}
    present, broken = _present(stored)
    faults = {one.where: _refusal(one) for one in problems}
    return {
        "groups": [
            {
                "title": title,
                "rows": [
                    _row(BY_NAME[name], words, present, typed, faults)
                    for name, words in names.items()
                ],
            }
            for title, names in THRESHOLD_WORDS
        ],
        "seen": history[0].number if history else 0,
        "reason": (typed or {}).get("reason", ""),
        "reason_fault": faults.get("reason"),
        "version_fault": faults.get("version"),
        "refused": bool(problems),
        "broken": broken,
        "history": _history(history),
    }


def _present(stored: Mapping[str, Any]) -> tuple[Thresholds, bool]:
    try:
        return thresholds_from(stored), False
    except BadInput:
        return DEFAULTS, True


def _row(
    setting: Setting,
    words: str,
    present: Thresholds,
    typed: Mapping[str, str] | None,
    faults: Mapping[str, str],
) -> dict[str, Any]:
    value, default = written(setting, present), written(setting, DEFAULTS)
    return {
        "name": setting.name,
        "words": words,
        "unit": UNITS[setting.kind],
        "whole": setting.kind not in ("amount", "share"),
        "value": value if typed is None else typed.get(setting.name, ""),
        "default": shown(setting, default),
        "present": shown(setting, value),
        "changed": value != default,
        "fault": faults.get(setting.name),
    }


def shown(setting: Setting, value: int | str) -> str:
    """A written value for people: 50.00 as money, 0.30 as a percentage, days with their unit."""
    language = get_language() or "en"
    if setting.kind == "amount":
        return formatting.money(str(value), language)
    if setting.kind == "share":
        return formatting.percent(str(value), language)
    return f"{value} {_(UNITS[setting.kind])}"


def _refusal(problem: Problem) -> str:
    if problem.where in ("reason", "version"):
        return _(REFUSALS[problem.where])
    setting = BY_NAME.get(problem.where)
    if setting is None:
        return problem.message
    return _(REFUSALS["order" if "is above" in problem.message else setting.kind])


def _history(history: tuple[Any, ...]) -> list[dict[str, Any]]:
    """Versions, the newest first, each with what it changed from the one before."""
    words = {name: text for _title, names in THRESHOLD_WORDS for name, text in names.items()}
    defaults = {one.name: written(one, DEFAULTS) for one in SETTINGS}
    rows = []
    for at, one in enumerate(history):
        before = history[at + 1].thresholds if at + 1 < len(history) else {}
        after = one.thresholds
        changes = [
            {
                "words": words[setting.name],
                "before": shown(setting, before.get(setting.name, defaults[setting.name])),
                "after": shown(setting, after.get(setting.name, defaults[setting.name])),
            }
            for setting in SETTINGS
            if before.get(setting.name) != after.get(setting.name)
        ]
        rows.append(
            {
                "number": one.number,
                "on": one.recorded_at.date(),
                "by": one.by.email if one.by else _("the system"),
                "reason": one.reason,
                "changes": changes,
            }
        )
    return rows


def written_values(form: Mapping[str, str]) -> dict[str, Any]:
    """The form's fields as a firm writes thresholds; what is no whole number stays text.

    A comma as decimal sign is taken as a point, since French writes it so.
    """
    values: dict[str, Any] = {}
    for setting in SETTINGS:
        text = form.get(setting.name, "").strip()
        if setting.kind in ("amount", "share"):
            values[setting.name] = text.replace(",", ".")
        else:
            values[setting.name] = int(text) if text.isascii() and text.isdigit() else text
    return values
