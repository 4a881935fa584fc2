"""Key figures of a plan, and of renewal offers, as rows of a table."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from config import formatting
from planning.core.money import text_from_cents
from planning.core.plan_outcome import Outcome, differences
from planning.core.renewal_offers import OfferComparison, OfferResult, Window


def figure_rows(before: Outcome | None, shown: Outcome) -> list[dict[str, str]]:
    """Label, the plan in force and the difference (empty without `before`), the plan shown."""
    rows = [_conversion_row(before, shown)]
    moved = {} if before is None else differences(before.figures, shown.figures)
    for key, label in (
        ("mortgage_interest", _("Mortgage interest, whole plan")),
        ("line_interest", _("Line interest, whole plan")),
        ("deductible", _("Deductible interest, whole plan")),
        ("tax_saving", _("Tax saving, whole plan")),
        ("cash_paid_in", _("The household's own cash, whole plan")),
        ("mortgage_left", _("Mortgage at the end")),
        ("line", _("Line at the end")),
        ("portfolio", _("Portfolio at the end")),
        ("net_worth", _("Net worth at the end, after tax, home left out")),
        ("lead_over_ordinary", _("Lead over the ordinary mortgage")),
        ("lead_over_prepayments", _("Lead over the same cash prepaid")),
        ("tax_benefit", _("Tax benefit, present value")),
        ("other_return", _("Return without tax benefit, present value")),
        ("refused", _("Prepayments no mortgage could take")),
    ):
        amount = getattr(shown.figures, key)
        held = None if before is None else getattr(before.figures, key)
        if key == "refused" and not amount and not held:
            continue
        rows.append(
            {
                "label": label,
                "shown": _cents(amount),
                "before": "" if held is None else _cents(held),
                "difference": "" if held is None else _signed(moved[key]),
            }
        )
    return rows


def _conversion_row(before: Outcome | None, shown: Outcome) -> dict[str, str]:
    old = None if before is None else before.figures.conversion
    new = shown.figures.conversion
    return {
        "label": _("Mortgage gone, all debt on the line"),
        "shown": _month(new),
        "before": "" if before is None else _month(old),
        "difference": "" if before is None else _later(old, new),
    }


def _later(old: str | None, new: str | None) -> str:
    if old is None or new is None:
        return "–"
    months = (int(new[:4]) - int(old[:4])) * 12 + int(new[5:]) - int(old[5:])
    if months == 0:
        return _("same month")
    values = {"n": abs(months)}
    if months < 0:
        return ngettext("%(n)s month earlier", "%(n)s months earlier", -months) % values
    return ngettext("%(n)s month later", "%(n)s months later", months) % values


def offer_groups(compared: OfferComparison) -> list[dict[str, Any]]:
    """Groups of rows; each row has a cell for the plan in force, then one for each offer."""
    results = (compared.baseline, *compared.offers)
    years = compared.shared_years
    shared = ngettext(
        "Over %(n)s year, the shortest term", "Over %(n)s years, the shortest term", years
    ) % {"n": years}
    groups = [
        {
            "title": _("At once"),
            "rows": [
                _row(_("First rate"), [_rate(one) for one in results]),
                _row(_("Payment"), [_cents(one.payment) for one in results]),
                _row(_("Principal in the first year"), [_cents(one.first_year) for one in results]),
            ],
        },
        {"title": shared, "rows": _window_rows([one.shared for one in results])},
    ]
    if any(one.own != one.shared for one in compared.offers):
        own = [None, *(one.own for one in compared.offers)]
        groups.append({"title": _("Over its own term"), "rows": _window_rows(own)})
    figures = [one.outcome.figures for one in results]
    groups.append(
        {
            "title": _("Whole plan"),
            "rows": [
                _row(
                    _("Mortgage gone, all debt on the line"),
                    [_month(one.conversion) for one in figures],
                ),
                _row(
                    _("Mortgage interest, whole plan"),
                    [_cents(one.mortgage_interest) for one in figures],
                ),
                _row(_("Tax saving, whole plan"), [_cents(one.tax_saving) for one in figures]),
                _row(
                    _("The household's own cash, whole plan"),
                    [_cents(one.cash_paid_in) for one in figures],
                ),
            ],
        }
    )
    return groups


def _window_rows(windows: list[Window | None]) -> list[dict[str, Any]]:
    keys = (
        ("interest", _("Mortgage interest")),
        ("deductible", _("Deduction")),
        ("room_freed", _("Room freed")),
        ("mortgage_left", _("Mortgage left")),
        ("line", _("Line owed")),
        ("eligible", _("of it in eligible use")),
    )
    rows = [
        _row(label, ["–" if one is None else _cents(getattr(one, key)) for one in windows])
        for key, label in keys
    ]
    months = [None if one is None else one.months for one in windows]
    rows.append(_row(_("Months counted"), ["–" if one is None else str(one) for one in months]))
    return rows


def case_rows(compared: OfferComparison) -> list[dict[str, Any]]:
    """Lead over the ordinary mortgage in every case, for the plan in force and each offer."""
    results = (compared.baseline, *compared.offers)
    return [
        {
            "name": case.name,
            "cells": [
                _signed(one.outcome.cases[index].plan - one.outcome.cases[index].ordinary)
                for one in results
            ],
        }
        for index, case in enumerate(compared.baseline.outcome.cases)
    ]


def _row(label: str, cells: list[str]) -> dict[str, Any]:
    return {"label": label, "cells": cells}


def _rate(one: OfferResult) -> str:
    return "–" if one.rate is None else formatting.percent(str(one.rate), _language())


def _language() -> str:
    return get_language() or "en"


def _cents(amount: int) -> str:
    return formatting.cents(amount, _language())


def _signed(amount: int) -> str:
    return formatting.signed_money(text_from_cents(amount), _language())


def _month(month: str | None) -> str:
    return "–" if month is None else formatting.short_month(month, _language())
