"""`import_book`: load a table of households, all of its rows or none."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput
from ledger.management.commands.load_household import read_files, refuse
from ledger.services.book_import import import_book
from planning.access import Access
from planning.selectors.firms import find_firm


class Command(BaseCommand):
    """Load a book from a spreadsheet's CSV."""

    help = "Load a CSV table of households, one a row. The same file twice changes nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("file", metavar="FILE", help='a CSV file, or "-"')
        parser.add_argument("--firm", metavar="NAME", help="the firm, when there are several")
        parser.add_argument("--dry-run", action="store_true", help="do everything and undo it")
        parser.add_argument("--reason", default="", help="why, for versions and the trail")
        parser.add_argument("--json", action="store_true", help="print one JSON object a row")

    def handle(self, **options: Any) -> None:
        """Load; exit 2 with every problem, and nothing written, on bad input."""
        try:
            ((name, data),) = read_files([options["file"]])
            firm = find_firm(options["firm"], "import_book")
            result = import_book(
                access=Access.system(firm.pk, "import_book"),
                name=name,
                data=data,
                dry_run=options["dry_run"],
                reason=options["reason"],
            )
            if result.problems:
                raise BadInput(result.problems)
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
        for one in result.rows:
            if options["json"]:
                shown = {"row": one.row, "household": one.ref, "changes": list(one.changes)}
                self.stdout.write(json.dumps(shown, ensure_ascii=False))
            else:
                what = "; ".join(one.changes) or "already here, nothing changed"
                self.stdout.write(f"row {one.row}: {one.ref}: {what}")
