"""The optional key `suitability` of a household file: read strictly, written canonically."""

from __future__ import annotations

from datetime import date
from typing import cast

from planning.core.json_reader import NO_DATE, Node
from planning.core.money import text_from_cents
from planning.core.suitability import LEVELS, Assessment, Level, Suitability

_AMOUNTS = (
    "net_worth",
    "liquid_net_worth",
    "gross_income",
    "other_loans",
    "other_payments",
)
_LEVELS = ("knowledge", "risk_tolerance")
_LOWEST_WORTH = -(10**13)


def read_suitability(node: Node) -> Suitability:
    """Assessments and disclosures, each in rising order of dates; empty when the key is absent."""
    if node.absent:
        return Suitability()
    node.keys((), ("assessments", "disclosures"))
    assessments = tuple(_read_assessment(one) for one in node.get("assessments").each())
    disclosures = tuple(one.day() for one in node.get("disclosures").each())
    _rising(node.get("assessments"), tuple(one.on for one in assessments), ".on")
    _rising(node.get("disclosures"), disclosures, "")
    return Suitability(assessments, disclosures)


def _read_assessment(node: Node) -> Assessment:
    node.keys(("on",), (*_AMOUNTS, *_LEVELS, "horizon_years"))
    horizon = node.get("horizon_years")
    return Assessment(
        on=node.get("on").day(),
        net_worth_cents=_cents(node, "net_worth", _LOWEST_WORTH),
        liquid_net_worth_cents=_cents(node, "liquid_net_worth", _LOWEST_WORTH),
        gross_income_cents=_cents(node, "gross_income"),
        other_loans_cents=_cents(node, "other_loans"),
        other_payments_cents=_cents(node, "other_payments"),
        knowledge=_level(node, "knowledge"),
        risk_tolerance=_level(node, "risk_tolerance"),
        horizon_years=None if horizon.absent else horizon.whole(0, 100),
    )


def _cents(node: Node, key: str, low: int = 0) -> int | None:
    return node.get(key).cents(low) if node.has(key) else None


def _level(node: Node, key: str) -> Level | None:
    return cast("Level", node.get(key).choice(LEVELS)) if node.has(key) else None


def _rising(node: Node, days: tuple[date, ...], suffix: str) -> None:
    for index in range(1, len(days)):
        if days[index] <= days[index - 1] and NO_DATE not in days[index - 1 : index + 1]:
            node.faults.add(
                f"{node.path}[{index}]{suffix}",
                "dates must rise from one row to the next",
                "Sort the list; keep one row a day",
            )


def suitability_to_json(value: Suitability) -> dict[str, object]:
    """The value of the key `suitability`; what was never given is left out."""
    shown: dict[str, object] = {}
    if value.assessments:
        shown["assessments"] = [_assessment_to_json(one) for one in value.assessments]
    if value.disclosures:
        shown["disclosures"] = [one.isoformat() for one in value.disclosures]
    return shown


def _assessment_to_json(one: Assessment) -> dict[str, object]:
    row: dict[str, object] = {"on": one.on.isoformat()}
    for key in _AMOUNTS:
        cents: int | None = getattr(one, f"{key}_cents")
        if cents is not None:
            row[key] = text_from_cents(cents)
    for key in (*_LEVELS, "horizon_years"):
        if getattr(one, key) is not None:
            row[key] = getattr(one, key)
    return row
