"""The demo's story, told through the firm's own services.

Every household is loaded from a household file with its first 27 months; the
last three arrive as statement files, as they would in life; uses are decided;
one lender restates a month that was closed already. Each step may be run
again and adds nothing then.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from ledger.core.formats.types import ReadOptions
from ledger.mapping import household_value
from ledger.services.households import load_household, load_households
from ledger.services.importing import import_from_command
from planning.access import Access
from planning.core.household_file import household_from_json, household_to_json
from planning.core.household_parts import account_kinds
from planning.core.plan import run_plan
from planning.core.types import Household
from planning.models import Household as HouseholdRow
from reports.demo.paper import statement_file
from reports.demo.people import ADVISORS
from reports.demo.profiles import Profile
from reports.demo.simulator import Played, base_file, play

LOADED_THROUGH = "2026-07"
"""The last month that comes with the household file; later ones come as statements."""
FRENCH = {"QC"}


@dataclass(frozen=True)
class Story:
    """One household's months, ready to be handed to the firm."""

    profile: Profile
    advisor: str | None

    @cached_property
    def played(self) -> Played:
        """Every month, as life went; the plan's own refunds are what is paid back."""
        plan = run_plan(household_from_json(base_file(self.profile), self.profile.ref))
        refunds = {int(row.month[:4]): row.refund for row in plan.rows if row.month[5:] == "05"}
        return play(self.profile, refunds)

    @cached_property
    def whole(self) -> dict[str, Any]:
        """The household file with every month and every use."""
        file = dict(self.played.file)
        return file | {"household": file["household"] | {"advisor": self.advisor}}

    @property
    def language(self) -> str:
        """The language of the household's papers."""
        return "fr" if self.profile.province in FRENCH else "en"

    @cached_property
    def misclaimed(self) -> str | None:
        """The personal draw that was first claimed for the portfolio; None in most stories."""
        month = self.profile.lapses.corrected
        dates = {
            entry["id"]: entry["date"]
            for one in self.whole["statements"]
            for entry in one["entries"]
        }
        for use in self.whole["uses"]:
            personal = use["splits"][0]["use"] == "personal"
            if month and personal and dates.get(use["draw"], "")[:7] == month:
                return str(use["draw"])
        return None

    @property
    def claims(self) -> list[dict[str, Any]]:
        """The uses as the household first claimed them."""
        claimed = {"use": "income-investment", "to": "inv", "evidence": ["confirm"]}
        return [
            use | {"splits": [split | claimed for split in use["splits"]]}
            if use["draw"] == self.misclaimed
            else use
            for use in self.whole["uses"]
        ]

    def first_file(self) -> dict[str, Any]:
        """The file as first loaded: months up to `LOADED_THROUGH`, before any restatement."""
        wrong = {(one["account"], one["starts"]): one for one in self.played.first_reports}
        statements = [
            wrong.get((one["account"], one["starts"]), one)
            for one in self.whole["statements"]
            if one["starts"][:7] <= LOADED_THROUGH
        ]
        kept = {entry["id"]: entry for one in statements for entry in one["entries"]}
        uses = []
        for use in self.claims:
            if use["draw"] in kept:
                # The first report of a draw may be smaller: its use cannot be larger.
                splits = [
                    split | {"amount": kept[use["draw"]]["amount"]}
                    if len(use["splits"]) == 1
                    else split
                    for split in use["splits"]
                ]
                uses.append(use | {"splits": splits})
            elif use["draw"].endswith("-opening"):
                uses.append(use)
        return self.whole | {"statements": statements, "uses": uses}

    def later_files(self) -> Iterator[tuple[str, str, bytes]]:
        """(account, file name, bytes) of the months that arrive as statements."""
        household = household_from_json(self.whole, self.profile.ref)
        kinds = account_kinds(household.mortgages, household.lines, household.investments)
        restated = {(one["account"], one["starts"]) for one in self.played.first_reports}
        for one in self.whole["statements"]:
            late = one["starts"][:7] > LOADED_THROUGH
            if late or (one["account"], one["starts"]) in restated:
                name, content = statement_file(self.profile.ref, kinds[one["account"]], one)
                yield one["account"], name, content


def stories(profiles: tuple[Profile, ...], *, advised: bool) -> tuple[Story, ...]:
    """The stories of a firm's households; `advised` gives each its advisor."""
    return tuple(Story(one, ADVISORS[one.advisor] if advised else None) for one in profiles)


def load(access: Access, story: Story) -> None:
    """Load a household's file unless the household is on file already."""
    with access.opened():
        if HouseholdRow.objects.filter(ref=story.profile.ref).exists():
            return
    text = json.dumps(story.first_file(), ensure_ascii=False).encode()
    load_households(
        access=access,
        files=[(f"{story.profile.ref}.json", text)],
        reason="demo book",
        language=story.language,
    )


def take_in(firm: str, story: Story) -> int:
    """Import the statements of the last months; returns how many postings were new."""
    new = 0
    by_account: dict[str, list[tuple[str, bytes]]] = {}
    for account, name, content in story.later_files():
        by_account.setdefault(account, []).append((name, content))
    for account, files in by_account.items():
        answers = import_from_command(
            files=tuple(files),
            read_options=ReadOptions(),
            firm=firm,
            household=story.profile.ref,
            account=account,
            dry_run=False,
        )
        problems = [problem for one in answers for problem in _list(one["problems"])]
        assert not problems, problems
        new += sum(int(str(one["imported"])) for one in answers)
    return new


def _list(value: object) -> list[Any]:
    assert isinstance(value, list)
    return value


def decide_uses(access: Access, story: Story) -> None:
    """Record the uses of the draws that came with the last statements, as first claimed."""
    if not _corrected(access, story):
        _record_uses(access, story, story.claims, "uses of draws decided")


def correct_uses(access: Access, story: Story) -> None:
    """Record what a draw was really used for, long after it was claimed for the portfolio."""
    reason = "an invoice came to light: the draw paid for a roof, not for units"
    _record_uses(access, story, story.whole["uses"], reason)


def _corrected(access: Access, story: Story) -> bool:
    """Whether the late correction is on file: a demo made twice leaves it there."""
    if story.misclaimed is None:
        return False
    with access.opened():
        held = household_value(HouseholdRow.objects.get(ref=story.profile.ref))
    uses = {one.draw: one.splits[0].use for one in held.uses}
    return uses.get(story.misclaimed) == "personal"


def _record_uses(access: Access, story: Story, uses: list[dict[str, Any]], reason: str) -> None:
    with access.opened():
        row = HouseholdRow.objects.get(ref=story.profile.ref)
        held = household_value(row)
        wanted = household_from_json(self_contained(uses, held), story.profile.ref)
        if wanted.uses == held.uses:
            return
        value = replace(held, uses=wanted.uses)
        load_household(
            access=access,
            value=value,
            name=f"{story.profile.ref}-uses.json",
            content=json.dumps(household_to_json(value), ensure_ascii=False).encode(),
            reason=reason,
            language=story.language,
        )


def self_contained(uses: list[dict[str, Any]], held: Household) -> dict[str, Any]:
    """What is on file with these uses of every draw that is on file."""
    known = {entry.id for one in held.statements for entry in one.entries}
    kept = [one for one in uses if one["draw"] in known or one["draw"].endswith("-opening")]
    return household_to_json(held) | {"uses": kept}
