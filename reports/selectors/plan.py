"""The plan of a household: in force, changed to try it, an older version, renewal offers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from django.http import Http404
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from config.problems import BadInput
from ledger.core.trace_adapter import opening_classes
from ledger.mapping import household_value
from planning.core.money import text_from_cents
from planning.core.months import first_day, next_month
from planning.core.plan_outcome import Outcome, outcome
from planning.core.plan_types import OpeningClasses
from planning.core.rates import merged_prime, rate_on
from planning.core.renewal_offers import OfferComparison, compare_offers, offer_refusals
from planning.core.types import Household, Mortgage, Plan
from planning.core.whatif import changed, mortgage_of, next_renewal, plan_ends, refusals
from planning.core.whatif_refusals import Refusal, Refused
from planning.selectors.plan_versions import VersionRow, plan_versions
from reports import plan_charts
from reports.plan_figures import case_rows, figure_rows, offer_groups
from reports.plan_form import ChangeForm, OffersForm, read_change
from reports.selectors.stored import last_closed


@dataclass(frozen=True, slots=True)
class PlanState:
    """A household with its plan in force, its versions, and the day changes hold from."""

    household: Household
    versions: tuple[VersionRow, ...]
    classes: tuple[tuple[str, OpeningClasses], ...]
    since: date

    @property
    def number(self) -> int:
        """The version in force."""
        return self.versions[0].number if self.versions else 0


def plan_state(access: Any, ref: str) -> PlanState:
    """What the plan's pages start from. Raises NotVisibleError, and Http404 without a plan."""
    row = access.household(ref)
    household = household_value(row)
    plan = household.plan
    if plan is None:
        raise Http404
    classes = opening_classes(household, plan.starts - timedelta(days=1))
    closed = last_closed(row.pk)
    since = plan.starts if closed is None else max(plan.starts, first_day(next_month(closed)))
    return PlanState(
        household,
        plan_versions(access, row.pk),
        tuple(classes.items()),
        min(since, plan_ends(plan)),
    )


def played(state: PlanState, household: Household) -> Outcome:
    """The outcome of a household's plan; the same question again costs nothing."""
    openings = {f"{line.ref}-opening" for line in household.lines}
    uses = tuple(one for one in household.uses if one.draw in openings)
    return _played(replace(household, statements=(), uses=uses), state.classes)


@lru_cache(maxsize=32)
def _played(household: Household, classes: tuple[tuple[str, OpeningClasses], ...]) -> Outcome:
    return outcome(household, dict(classes))


def plan_page(access: Any, state: PlanState, query: Mapping[str, Any]) -> dict[str, Any]:
    """The plan in force, and beside it what the what-if form asks for."""
    form = read_change(query, state.since)
    refused = [*form.refused, *refusals(state.household, form.change)]
    before = played(state, state.household)
    shown, problems = None, ()
    if not refused and not form.change.empty:
        try:
            shown = played(state, changed(state.household, form.change))
        except BadInput as error:
            problems = error.problems
    return _head(access, state) | {
        "form": form,
        "fields": _now(state, form),
        "refused": refused,
        "problems": problems,
        "asked": shown is not None,
        **_answer(before if shown is not None else None, shown or before),
    }


def version_page(access: Any, ref: str, number: int) -> dict[str, Any]:
    """An older version of the plan, played with today's contracts, beside the one in force."""
    state = plan_state(access, ref)
    version = next((one for one in state.versions if one.number == number), None)
    if version is None or version.plan is None:
        raise Http404
    before = played(state, state.household)
    page = _head(access, state) | {"version": version, "problems": (), "current": False}
    if version.number == state.number:
        return page | {"current": True, **_answer(None, before)}
    household = replace(state.household, plan=version.plan)
    eve = version.plan.starts - timedelta(days=1)
    older = replace(state, classes=tuple(opening_classes(household, eve).items()))
    try:
        shown = played(older, household)
    except BadInput as error:
        return page | {"problems": error.problems, "charts": [], "figures": []}
    return page | _answer(before, shown)


def tried_plan(state: PlanState, form: ChangeForm) -> Plan:
    """The plan that a readable form asks for. Raises Refused or BadInput."""
    plan = changed(state.household, form.change).plan
    assert plan is not None
    return plan


def offers_page(access: Any, state: PlanState, form: OffersForm, *, asked: bool) -> dict[str, Any]:
    """Renewal offers side by side; before anything is asked, the empty form."""
    mortgage = mortgage_of(state.household, form.mortgage)
    on = form.on or (_next(state, mortgage) if mortgage else None)
    page = _head(access, state) | {
        "form": form,
        "mortgage": mortgage.ref if mortgage else "",
        "mortgages": [one.ref for one in state.household.mortgages],
        "on": on.isoformat() if on else "",
        "rows": [{"place": place, "typed": typed} for place, typed in enumerate(form.typed, 1)],
        "refused": [],
        "problems": (),
        "compared": None,
    }
    if not asked:
        return page
    refused = list(form.refused)
    if mortgage is None:
        refused.append(Refusal("mortgage", "no-mortgage", (("mortgage", form.mortgage),)))
    elif on is None:
        refused.append(Refusal("on", "no-renewal", (("mortgage", mortgage.ref),)))
    elif not refused:
        refused += offer_refusals(state.household, form.mortgage, on, form.offers)
    if refused or on is None:
        return page | {"refused": placed(refused, form)}
    try:
        compared = _compared(state, form, on)
    except Refused as error:
        return page | {"refused": placed(error.refusals, form)}
    except BadInput as error:
        return page | {"problems": error.problems}
    return page | _offers_answer(compared, form)


def placed(refused: Sequence[Refusal], form: OffersForm) -> list[Refusal]:
    """Refusals of the core ("offers[1].rate") named by the form's own fields ("rate3")."""
    found = []
    for one in refused:
        where = one.where
        if where.startswith("offers["):
            index, _dot, field = where[7:].partition("].")
            where = f"{field or 'rate'}{form.places[int(index.rstrip(']'))]}"
        found.append(replace(one, where=where))
    return found


def renewal_day(state: PlanState, form: OffersForm) -> date | None:
    """The day typed, else the mortgage's next renewal within the plan."""
    mortgage = mortgage_of(state.household, form.mortgage)
    return form.on or (_next(state, mortgage) if mortgage else None)


def _next(state: PlanState, mortgage: Mortgage) -> date | None:
    return next_renewal(state.household, mortgage, state.since)


def _compared(state: PlanState, form: OffersForm, on: date) -> OfferComparison:
    return compare_offers(
        state.household,
        form.mortgage,
        on,
        form.offers,
        dict(state.classes),
        baseline=played(state, state.household),
    )


def _offers_answer(compared: OfferComparison, form: OffersForm) -> dict[str, Any]:
    language = get_language() or "en"
    names = [_("Plan in force")]
    for place, offer in zip(form.places, form.offers, strict=True):
        names.append(offer.name or _("Offer %(number)s") % {"number": place})
    return {
        "compared": compared,
        "names": names,
        "groups": [
            group | {"rows": _named(group["rows"], names)} for group in offer_groups(compared)
        ],
        "cases": _named(case_rows(compared), names),
        "chart": plan_charts.offer_bars(compared, names, language),
        "choices": [
            {"place": place, "name": name, "open": offer.plannable}
            for place, name, offer in zip(form.places, names[1:], form.offers, strict=True)
        ],
    }


def _named(rows: list[dict[str, Any]], names: list[str]) -> list[dict[str, Any]]:
    """The rows with each cell beside the name of its column, for narrow screens."""
    return [row | {"cells": list(zip(names, row["cells"], strict=True))} for row in rows]


def _head(access: Any, state: PlanState) -> dict[str, Any]:
    household = state.household
    plan = household.plan
    assert plan is not None
    return {
        "ref": household.ref,
        "name": household.name,
        "number": state.number,
        "versions": state.versions,
        "can_edit": access.can("plan.edit"),
        "starts": plan.starts.isoformat()[:7],
        "ends": plan_ends(plan).isoformat()[:7],
        "first_day": plan.starts.isoformat(),
        "last_day": plan_ends(plan).isoformat(),
    }


def _answer(before: Outcome | None, shown: Outcome) -> dict[str, Any]:
    language = get_language() or "en"
    more = 0 if before is None else shown.figures.cash_paid_in - before.figures.cash_paid_in
    return {
        "figures": figure_rows(before, shown),
        "cash_differs": text_from_cents(more) if more else "",
        "warnings": shown.result.warnings,
        "balances": plan_charts.plan_balances(before, shown, language),
        "share": plan_charts.plan_share(before, shown, language),
        "losses": plan_charts.plan_losses(before, shown, language),
    }


def _now(state: PlanState, form: ChangeForm) -> dict[str, Any]:
    """What each field of the form stands at in the plan in force."""
    household = state.household
    plan = household.plan
    assert plan is not None
    mortgage = mortgage_of(household, form.change.mortgage) or mortgage_of(household, "")
    ahead = _next(state, mortgage) if mortgage else None
    planned = {(one.mortgage, one.on): one.rate_annual for one in plan.renewals}
    before = played(state, household)
    rates = [
        one.rate
        for one in before.result.payments
        if one.payment and mortgage and one.mortgage == mortgage.ref and one.date >= state.since
    ]
    prime = rate_on(merged_prime(plan.prime, household.prime), state.since)
    total = sum(rate for _kind, rate in plan.investment.yields_annual)
    return {
        "since": (form.change.since or state.since).isoformat(),
        "mortgages": [one.ref for one in household.mortgages],
        "mortgage": mortgage.ref if mortgage else "",
        "rate": str(rates[0]) if rates else "",
        "renewal_on": ahead,
        "renewal_rate": str(planned.get((mortgage.ref, ahead), "")) if mortgage and ahead else "",
        "prime": "" if prime is None else str(prime),
        "growth": str(plan.investment.growth_annual),
        "total_yield": str(total),
        "share": str(plan.reborrow.share) if plan.reborrow else "",
        "refund": plan.refund,
    }
