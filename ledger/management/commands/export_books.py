"""`export_books`: write a household's books as a journal and as tables."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from config.files import write_whole
from config.problems import BadInput, Problem
from ledger.management.commands.load_household import refuse
from ledger.selectors.books import FORMATS, household_books
from planning.access import Access
from planning.selectors.firms import firm_of_household

COMMAND = "export_books"


class Command(BaseCommand):
    """Export a household's books: exit 0 written, 2 bad input and nothing written."""

    help = "Write a household's books: double-entry journal and CSV tables. Safe to repeat."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("ref", metavar="REF", help="the household's reference")
        parser.add_argument("--out", required=True, metavar="DIR", help="folder for the files")
        parser.add_argument("--format", choices=FORMATS, help="default: both")
        parser.add_argument("--firm", metavar="NAME", help="the firm, when there are several")
        parser.add_argument("--json", action="store_true", help="print the outcome as JSON")

    def handle(self, **options: Any) -> None:
        """Make every file, then write each whole."""
        out = Path(options["out"])
        try:
            if out.exists() and not out.is_dir():
                raise BadInput([Problem(str(out), "--out", "this is a file", "Name a folder")])
            files = self._files(options)
            written = self._written(out, files)
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
            return
        if options["json"]:
            self.stdout.write(json.dumps({"files": written}, indent=1, ensure_ascii=False))
            return
        for one in written:
            self.stdout.write(f"{one['sha256']}  {one['file']}")

    def _files(self, options: dict[str, Any]) -> dict[str, bytes]:
        firm = firm_of_household(options["ref"], options["firm"], COMMAND)
        access = Access.system(firm.pk, COMMAND)
        forms = FORMATS if options["format"] is None else (options["format"],)
        files: dict[str, bytes] = {}
        with access.opened():
            for form in forms:
                files |= household_books(access, options["ref"], form)
        return files

    def _written(self, out: Path, files: dict[str, bytes]) -> list[dict[str, str]]:
        try:
            return [
                {
                    "file": str(write_whole(out / name, content)),
                    "sha256": sha256(content).hexdigest(),
                }
                for name, content in files.items()
            ]
        except OSError as error:
            message = f"the files cannot be written: {error.strerror}"
            raise BadInput([Problem(str(out), "--out", message, "Check the folder")]) from error
