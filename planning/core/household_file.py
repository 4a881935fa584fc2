"""The household file: read strictly, written canonically.

Format "towpath/household", version 1: the exchange, backup and test format.
`read_household` refuses unknown keys, wrong types and values out of range with
the path of each; what needs the postings themselves (do splits fit the draw,
do ids repeat) is checked by the ledger, what needs the plan's arithmetic by
the plan. `household_to_json` writes every value back, keys in a fixed order.
"""

from __future__ import annotations

from planning.core import household_parts as parts
from planning.core.json_reader import Faults, Node, load_json
from planning.core.money import text_from_cents
from planning.core.plan_file import plan_to_json, read_plan
from planning.core.suitability_file import read_suitability, suitability_to_json
from planning.core.types import (
    Entry,
    Evidence,
    Household,
    Line,
    Member,
    Mortgage,
    RateSteps,
    Split,
    Statement,
)

FORMAT = "towpath/household"
VERSION = 1


def read_household(text: str, file: str) -> Household:
    """Read a household file's text. Raises BadInput with every problem found."""
    return household_from_json(load_json(text, file), file)


def household_from_json(data: object, file: str) -> Household:
    """Read a parsed household file. Raises BadInput with every problem found."""
    faults = Faults(file)
    root = Node(data, "", faults)
    required = ("format", "version", "household", "facility", "mortgages", "lines", "investments")
    optional = ("members", "suitability", "prime", "statements", "uses", "plan")
    if not root.keys(required, optional):
        faults.stop_if_any()
    if root.get("format").value != FORMAT:
        root.get("format").fault("this is not a household file", f'Write "{FORMAT}"')
    version = root.get("version").value
    if version != VERSION or isinstance(version, bool):
        root.get("version").fault("this version is not known", f"Write {VERSION}")
    head = root.get("household")
    head.keys(("ref", "name", "province"), ("advisor",))
    members = tuple(parts.read_member(one) for one in root.get("members").each())
    mortgages = tuple(parts.read_mortgage(one) for one in root.get("mortgages").each())
    lines = tuple(parts.read_line(one) for one in root.get("lines").each())
    investments = tuple(parts.read_investment(one) for one in root.get("investments").each())
    advisor = head.get("advisor")
    kinds = parts.account_kinds(mortgages, lines, investments)
    household = Household(
        ref=head.get("ref").ref(),
        name=head.get("name").text(),
        province=head.get("province").choice(parts.PROVINCES),
        advisor=None if advisor.absent else advisor.text(),
        members=members,
        facility=parts.read_facility(root.get("facility")),
        mortgages=mortgages,
        lines=lines,
        investments=investments,
        prime=parts.read_steps(root.get("prime"), "-0.05", "1"),
        statements=tuple(parts.read_statement(one, kinds) for one in root.get("statements").each()),
        uses=tuple(parts.read_use(one) for one in root.get("uses").each()),
        plan=None if root.get("plan").absent else read_plan(root.get("plan")),
        suitability=read_suitability(root.get("suitability")),
    )
    parts.check_references(household, root)
    faults.stop_if_any()
    return household


def household_to_json(household: Household) -> dict[str, object]:
    """The household as the JSON value of its file, keys in a fixed order.

    Optional keys that were never given are left out, so reading the result
    gives an equal household: `household_from_json(household_to_json(h)) == h`.
    """
    plan = household.plan
    written: dict[str, object] = {
        "format": FORMAT,
        "version": VERSION,
        "household": {
            "ref": household.ref,
            "name": household.name,
            "province": household.province,
            "advisor": household.advisor,
        },
        "members": [_member_to_json(one) for one in household.members],
        "facility": _facility_to_json(household),
        "mortgages": [_mortgage_to_json(one) for one in household.mortgages],
        "lines": [_line_to_json(one) for one in household.lines],
        "investments": [
            {"ref": one.ref, "kind": one.kind, "owners": list(one.owners)}
            for one in household.investments
        ],
        "prime": steps_to_json(household.prime),
        "statements": [_statement_to_json(one) for one in household.statements],
        "uses": [
            {"draw": one.draw, "splits": [_split_to_json(split) for split in one.splits]}
            for one in household.uses
        ],
        "plan": None if plan is None else plan_to_json(plan),
    }
    known = suitability_to_json(household.suitability)
    return written | {"suitability": known} if known else written


def _member_to_json(one: Member) -> dict[str, object]:
    row: dict[str, object] = {
        "ref": one.ref,
        "name": one.name,
        "province": one.province,
        "born": one.born,
        "income": {str(year): text_from_cents(cents) for year, cents in one.income},
    }
    if one.gains:
        row["gains"] = [
            {"on": gain.on.isoformat(), "amount": text_from_cents(gain.amount_cents)}
            for gain in one.gains
        ]
    return row


def steps_to_json(steps: RateSteps) -> list[list[str]]:
    """A rate series as the file writes it: [["2025-01-01", "0.0545"], ...]."""
    return [[day.isoformat(), f"{rate:f}"] for day, rate in steps]


def _facility_to_json(household: Household) -> dict[str, object]:
    one = household.facility
    return {
        "lender_value": text_from_cents(one.lender_value_cents),
        "valued_on": None if one.valued_on is None else one.valued_on.isoformat(),
        "registered_limit": text_from_cents(one.registered_limit_cents),
        "revolving_cap": f"{one.revolving_cap:f}",
        "line_cap": text_from_cents(one.line_cap_cents),
        "excess_rule": one.excess_rule,
        "capitalised_interest": one.capitalised_interest,
        "interest_method": one.interest_method,
    }


def _mortgage_to_json(one: Mortgage) -> dict[str, object]:
    terms: list[dict[str, object]] = []
    for term in one.terms:
        row: dict[str, object] = {
            "starts": term.starts.isoformat(),
            "matures": term.matures.isoformat(),
            "kind": term.kind,
        }
        if term.rate_annual is not None:
            row["rate"] = f"{term.rate_annual:f}"
        if term.spread is not None:
            row["spread"] = f"{term.spread:f}"
        row["payment"] = _money_or_null(term.payment_cents)
        terms.append(row)
    return {
        "ref": one.ref,
        "original_principal": text_from_cents(one.original_principal_cents),
        "first_payment": one.first_payment.isoformat(),
        "amortization_months": one.amortization_months,
        "frequency": one.frequency,
        "compounding": one.compounding,
        "biweekly_basis": one.biweekly_basis,
        "prepayment_privilege": f"{one.prepayment_privilege:f}",
        "borrowers": list(one.borrowers),
        "terms": terms,
    }


def _line_to_json(one: Line) -> dict[str, object]:
    row: dict[str, object] = {
        "ref": one.ref,
        "day_basis": 365 if one.day_basis == "365" else "actual",
        "spread": f"{one.spread:f}",
        "borrowers": list(one.borrowers),
        "payer": one.payer,
        "claimant": one.claimant,
    }
    if one.owners_explained is not None:
        row["owners_explained"] = one.owners_explained
    return row


def _statement_to_json(one: Statement) -> dict[str, object]:
    return {
        "account": one.account,
        "starts": one.starts.isoformat(),
        "ends": one.ends.isoformat(),
        "opening": text_from_cents(one.opening_cents),
        "closing": text_from_cents(one.closing_cents),
        "limit": _money_or_null(one.limit_cents),
        "value": _money_or_null(one.value_cents),
        "rates": steps_to_json(one.rates),
        "entries": [entry_to_json(entry) for entry in one.entries],
    }


def entry_to_json(one: Entry) -> dict[str, object]:
    """One posting as the file writes it; fields that were not given are left out."""
    row: dict[str, object] = {
        "id": one.id,
        "date": one.date.isoformat(),
        "kind": one.kind,
        "amount": text_from_cents(one.amount_cents),
    }
    optional: dict[str, object] = {
        "interest": _money_or_null(one.interest_cents),
        "principal": _money_or_null(one.principal_cents),
        "from": one.source,
        "of": one.of,
        "paid": one.paid,
        "to": one.to,
        "proceeds": _money_or_null(one.proceeds_cents),
        "cost_fraction": None if one.cost_fraction is None else f"{one.cost_fraction:f}",
    }
    return row | {key: value for key, value in optional.items() if value is not None}


def _split_to_json(one: Split) -> dict[str, object]:
    row: dict[str, object] = {"amount": text_from_cents(one.amount_cents), "use": one.use}
    if one.to is not None:
        row["to"] = one.to
    if one.of is not None:
        row["of"] = one.of
    row["evidence"] = [_evidence_to_json(paper) for paper in one.evidence]
    return row


def _evidence_to_json(paper: Evidence) -> object:
    if paper.on is None:
        return paper.ref
    return {"ref": paper.ref, "on": paper.on.isoformat()}


def _money_or_null(cents: int | None) -> str | None:
    return None if cents is None else text_from_cents(cents)
