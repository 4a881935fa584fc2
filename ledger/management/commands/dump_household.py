"""`dump_household`: write a household of the book as a household file."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput, Problem
from ledger.management.commands.load_household import refuse
from ledger.selectors.households import household_on_file
from planning.core.household_file import household_to_json


class Command(BaseCommand):
    """Dump a household."""

    help = "Write a household as a household file: everything that evaluate needs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("ref", metavar="REF", help="the household's reference")
        parser.add_argument("--firm", metavar="NAME", help="the firm, when there are several")
        parser.add_argument("--out", metavar="FILE", help="write to this file, not to the screen")
        parser.add_argument("--json", action="store_true", help="problems as JSON too")

    def handle(self, **options: Any) -> None:
        """Write the file; exit 2 when there is no such household."""
        try:
            household, _ = household_on_file(
                ref=options["ref"], firm=options["firm"], command="dump_household"
            )
            text = json.dumps(household_to_json(household), indent=1, ensure_ascii=False) + "\n"
            if options["out"]:
                _write(options["out"], text)
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
        if not options["out"]:
            self.stdout.write(text, ending="")


def _write(name: str, text: str) -> None:
    try:
        Path(name).write_text(text, "utf-8")
    except OSError as error:
        message = f"the file cannot be written: {error.strerror}"
        raise BadInput([Problem(name, "--out", message, "Check the folder")]) from error
