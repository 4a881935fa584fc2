"""The pictures of a plan, of a change to it and of renewal offers, each with its table."""

from __future__ import annotations

from django.utils.translation import gettext as _

from config.formatting import cents, long_month, percent, short_month, signed_money
from planning.core.money import text_from_cents
from planning.core.plan_outcome import LossCase, Outcome
from planning.core.plan_types import PlanRow
from planning.core.renewal_offers import OfferComparison
from reports.charts import FIRST, LESS, MORE, SECOND, Chart
from reports.drawing import MUTED
from reports.plain_drawing import Bar, Curve, bars, panels
from reports.plan_words import CASE_WORDS


def plan_balances(before: Outcome | None, shown: Outcome, language: str) -> Chart:
    """Mortgage, line and portfolio at month ends; dashed: the plan in force, when compared."""
    months = [row.month for row in shown.result.rows]
    keys = (
        ("mortgage_closing", _("Mortgage owed"), FIRST),
        ("line_closing", _("Line owed"), SECOND),
        ("portfolio_closing", _("Portfolio"), MORE),
    )
    parts = []
    for key, title, colour in keys:
        curves = [Curve([getattr(row, key) for row in shown.result.rows], colour)]
        if before is not None:
            held = _beside(before, months)
            curves.insert(0, Curve([getattr(row, key) for row in held], MUTED, dashed=True))
        parts.append((title, curves))
    last = shown.result.rows[-1]
    alt = _(
        "Three line charts by month. At the end of %(month)s the mortgage stands at %(mortgage)s, "
        "the line at %(line)s and the portfolio at %(portfolio)s."
    ) % {
        "month": long_month(last.month, language),
        "mortgage": cents(last.mortgage_closing, language),
        "line": cents(last.line_closing, language),
        "portfolio": cents(last.portfolio_closing, language),
    }
    headers = [_("At the end of")]
    for _key, title, _colour in keys:
        headers += [title] if before is None else [title, _("Difference")]
    title = _("Mortgage, line and portfolio")
    if before is not None:
        title = _("Mortgage, line and portfolio: dashed is the plan in force")
    return Chart(
        "plan-balances",
        title,
        alt,
        panels(parts, months, language),
        tuple(headers),
        tuple(
            _balance_row(row, before, [key[0] for key in keys], language) for row in _ends(shown)
        ),
    )


def _balance_row(
    row: PlanRow, before: Outcome | None, keys: list[str], language: str
) -> tuple[str, ...]:
    cells = [short_month(row.month, language)]
    for key in keys:
        amount = getattr(row, key)
        cells.append(cents(amount, language))
        if before is not None:
            held = _beside(before, [row.month])[0]
            cells.append(signed_money(text_from_cents(amount - getattr(held, key)), language))
    return tuple(cells)


def _beside(before: Outcome, months: list[str]) -> list[PlanRow]:
    """The rows of the plan in force for these months; its last one beyond its end."""
    known = {row.month: row for row in before.result.rows}
    first, last = before.result.rows[0], before.result.rows[-1]
    return [known.get(month, last if month > last.month else first) for month in months]


def _ends(shown: Outcome) -> list[PlanRow]:
    """The Decembers, and the last month."""
    rows = shown.result.rows
    return [row for row in rows if row.month.endswith("-12") or row is rows[-1]]


def _share(row: PlanRow) -> int:
    """The part of the debt in eligible use, in hundredths of a percent."""
    debt = row.mortgage_closing + row.line_closing
    return 0 if debt <= 0 else row.eligible * 10000 // debt


def plan_share(before: Outcome | None, shown: Outcome, language: str) -> Chart:
    """The part of all debt in eligible use at month ends."""
    months = [row.month for row in shown.result.rows]
    curves = [Curve([_share(row) for row in shown.result.rows], FIRST)]
    headers = [_("At the end of"), _("Share")]
    if before is not None:
        held = [_share(row) for row in _beside(before, months)]
        curves.insert(0, Curve(held, MUTED, dashed=True))
        headers.append(_("Plan in force"))
    rows = []
    for row in _ends(shown):
        cells = [short_month(row.month, language), _percent(row, language)]
        if before is not None:
            cells.append(_percent(_beside(before, [row.month])[0], language))
        rows.append(tuple(cells))
    alt = _(
        "Line chart by month. At the end of %(month)s %(share)s of the debt is in eligible use."
    )
    last = shown.result.rows[-1]
    return Chart(
        "plan-share",
        _("Share of the debt in eligible use"),
        alt % {"month": long_month(last.month, language), "share": _percent(last, language)},
        panels([(_("Share of the debt"), curves)], months, language, percent=True),
        tuple(headers),
        tuple(rows),
    )


def _percent(row: PlanRow, language: str) -> str:
    share = _share(row)
    return percent(f"{share // 10000}.{share % 10000:04d}", language, 1)


def plan_losses(before: Outcome | None, shown: Outcome, language: str) -> Chart:
    """What the plan adds to the ordinary mortgage, or takes from it, in every case."""
    groups = []
    held = before.cases if before is not None else (None,) * len(shown.cases)
    for case, old in zip(shown.cases, held, strict=True):
        each = [_lead(case, language)]
        if old is not None:
            each.insert(0, _lead(old, language, outlined=True))
        groups.append((_(CASE_WORDS[case.name]), each))
    alt = _(
        "Bar chart of the lead over the ordinary mortgage at the end of the plan: %(cases)s."
    ) % {
        "cases": ", ".join(
            f"{_(CASE_WORDS[one.name])} {_signed(one.plan - one.ordinary, language)}"
            for one in shown.cases
        )
    }
    title = _("What the plan adds to the ordinary mortgage, or takes, if things go wrong")
    if before is not None:
        title = _("Lead over the ordinary mortgage, if things go wrong: outlined is in force")
    return Chart(
        "plan-losses",
        title,
        alt,
        bars(groups),
        (
            _("Net worth at the end, after tax, home left out"),
            _("Plan"),
            _("Ordinary mortgage"),
            _("Same cash prepaid"),
            _("Lead over ordinary"),
        ),
        tuple(
            (
                _(CASE_WORDS[one.name]),
                *(cents(value, language) for value in (one.plan, one.ordinary, one.prepayments)),
                _signed(one.plan - one.ordinary, language),
            )
            for one in shown.cases
        ),
    )


def _lead(case: LossCase, language: str, *, outlined: bool = False) -> Bar:
    lead = case.plan - case.ordinary
    return Bar(lead, _signed(lead, language), LESS if lead < 0 else MORE, outlined)


def _signed(amount: int, language: str) -> str:
    return signed_money(text_from_cents(amount), language)


def offer_bars(compared: OfferComparison, names: list[str], language: str) -> Chart:
    """Interest paid and deduction over the shortest term, offer by offer."""
    results = (compared.baseline, *compared.offers)
    groups, rows = [], []
    for name, one in zip(names, results, strict=True):
        first = one is compared.baseline
        groups.append(
            (
                name,
                [
                    Bar(one.shared.interest, cents(one.shared.interest, language), FIRST, first),
                    Bar(one.shared.deductible, cents(one.shared.deductible, language), MORE, first),
                ],
            )
        )
        rows.append(
            (
                name,
                cents(one.shared.interest, language),
                cents(one.shared.deductible, language),
            )
        )
    alt = _("Bar chart of mortgage interest and deduction over the shortest term: %(offers)s.") % {
        "offers": ", ".join(f"{row[0]} {row[1]}, {row[2]}" for row in rows)
    }
    return Chart(
        "offers",
        _("Over the shortest term: mortgage interest above, deduction below"),
        alt,
        bars(groups),
        (_("Offer"), _("Mortgage interest"), _("Deduction")),
        tuple(rows),
    )
