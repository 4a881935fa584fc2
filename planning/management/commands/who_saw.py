"""`who_saw`: who was shown a household, between two days."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput, Problem
from planning.access import Access
from planning.selectors.firms import firm_of_household
from planning.selectors.sightings import sightings_of


class Command(BaseCommand):
    """Print the sightings of a household, the newest first."""

    help = "Who was shown a household, as what, what, and when (UTC)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("ref", metavar="REF", help="the household's reference")
        parser.add_argument("--firm", metavar="NAME", help="the firm, if several know it")
        parser.add_argument("--from", dest="first", metavar="YYYY-MM-DD", help="first day (UTC)")
        parser.add_argument("--to", dest="last", metavar="YYYY-MM-DD", help="last day (UTC)")
        parser.add_argument("--json", action="store_true", help="print as JSON")

    def handle(self, **options: Any) -> None:
        """Look and print; exit 2 with every problem when the input is bad."""
        try:
            days = _days(options)
            firm = firm_of_household(options["ref"], options["firm"], "who_saw")
        except BadInput as error:
            for problem in error.problems:
                self.stderr.write(str(problem))
            if options["json"]:
                self.stdout.write(json.dumps([one.as_dict() for one in error.problems], indent=1))
            raise SystemExit(2) from error
        access = Access.system(firm.pk, "who_saw command")
        with access.opened():
            rows = sightings_of(access, options["ref"], first=days[0], last=days[1])
        if options["json"]:
            shown = [one.as_dict() for one in rows]
            self.stdout.write(json.dumps(shown, indent=1, ensure_ascii=False))
            return
        for one in rows:
            what = f"{one.kind} {one.route} {one.object_id}".rstrip()
            self.stdout.write(f"{one.at:%Y-%m-%d %H:%M} {one.role} {one.name}: {what}")
        self.stdout.write(f"{len(rows)} sightings")


def _days(options: dict[str, Any]) -> tuple[date | None, date | None]:
    problems: list[Problem] = []
    days: list[date | None] = []
    for word, dest in (("--from", "first"), ("--to", "last")):
        text = options[dest]
        try:
            days.append(date.fromisoformat(text) if text else None)
        except ValueError:
            days.append(None)
            problems.append(Problem("who_saw", word, f"{text!r} is no day", "Write 2026-01-31"))
    first, last = days
    if first and last and last < first:
        problems.append(Problem("who_saw", "--to", "lies before --from", "Turn them round"))
    if problems:
        raise BadInput(problems)
    return first, last
