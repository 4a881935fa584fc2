"""`check_ledger`: is the book in one piece? Reads only, at any time."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError
from tqdm import tqdm

from config.problems import BadInput, Problem
from ledger.management.commands.load_household import refuse
from ledger.selectors.checks import CHECKS, Checked, check_book
from planning.selectors.firms import find_firm, firms


class Command(BaseCommand):
    """Check the book."""

    help = "Check the book: " + ", ".join(CHECKS) + ". Exit 0 clean, 1 findings, 2 could not run."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("--firm", metavar="NAME", help="one firm; else every firm")
        parser.add_argument("--household", metavar="REF", help="one household")
        parser.add_argument("--strict", action="store_true", help="notes count as findings too")
        parser.add_argument("--json", action="store_true", help="print the outcome as JSON")

    def handle(self, **options: Any) -> None:
        """Check, say what was found, exit accordingly."""
        ref = options["household"]
        try:
            chosen = (find_firm(options["firm"], "check_ledger"),) if options["firm"] else firms()
            with tqdm(unit="household", disable=None, file=sys.stderr) as bar:
                checked = check_book(chosen, ref, lambda _: bar.update() and None)
            if ref and not checked.households:
                message = f"there is no household {ref!r}"
                raise BadInput(
                    [Problem("check_ledger", "--household", message, "Check the reference")]
                )
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
        except DatabaseError as error:
            self.stderr.write(f"check_ledger could not run: {error}")
            raise SystemExit(2) from error
        self._tell(checked, as_json=options["json"])
        counted = checked.findings if options["strict"] else checked.faults
        if counted:
            raise SystemExit(1)

    def _tell(self, checked: Checked, *, as_json: bool) -> None:
        if as_json:
            shown = {
                "firms": checked.firms,
                "households": checked.households,
                "checks": list(CHECKS),
                "findings": [one.as_dict() for one in checked.findings],
            }
            self.stdout.write(json.dumps(shown, indent=1, ensure_ascii=False))
            return
        for one in checked.findings:
            self.stdout.write(str(one))
        faults = len(checked.faults)
        notes = len(checked.findings) - faults
        self.stdout.write(
            f"{checked.firms} firms, {checked.households} households, {len(CHECKS)} checks: "
            f"{faults} faults, {notes} notes"
        )
