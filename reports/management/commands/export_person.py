"""`export_person`: everything the firm holds about one person, as files."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from config import audit
from config.problems import BadInput, Problem
from ledger.management.commands.load_household import refuse
from ledger.mapping import household_value
from planning.access import Access
from planning.core.household_file import household_to_json
from planning.selectors.firms import find_firm
from reports.selectors.person_file import person_file


class Command(BaseCommand):
    """Write one person's data into a folder."""

    help = "Everything the firm holds about one person: JSON, readable text, household files."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("email", metavar="EMAIL", help="the person's address")
        parser.add_argument("--out", metavar="DIR", required=True, help="a new or empty folder")
        parser.add_argument("--firm", metavar="NAME", help="the firm, when there are several")
        parser.add_argument("--json", action="store_true", help="problems as JSON too")

    def handle(self, **options: Any) -> None:
        """Gather, write, note it in the trail; exit 2 and nothing written on bad input."""
        folder = Path(options["out"])
        try:
            firm = find_firm(options["firm"], "export_person")
            access = Access.system(firm.pk, "export_person command")
            with access.opened():
                held = person_file(access, options["email"])
                files = dict(_files(access, held))
                _write(folder, files)
                audit.record(
                    access,
                    "person.export",
                    object_type="person",
                    detail={"email": held["email"], "files": len(files)},
                )
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
        self.stdout.write(f"{len(files)} files in {folder}")


def _files(access: Access, held: dict[str, Any]) -> Iterator[tuple[str, str]]:
    text = json.dumps(held, indent=1, ensure_ascii=False, default=str)
    yield "person.json", text + "\n"
    yield "person.txt", "\n".join(_lines(json.loads(text))) + "\n"
    for number, ref in enumerate(held["households"], 1):
        value = household_value(access.household(ref))
        shown = json.dumps(household_to_json(value), indent=1, ensure_ascii=False)
        yield f"household-{number}.json", shown + "\n"


def _lines(held: dict[str, Any]) -> Iterator[str]:
    yield f"What is held about {held['email']}"
    for name, value in (held["login"] or {}).items():
        yield f"{name}: {value}"
    if held["households"]:
        yield f"households: {', '.join(held['households'])}"
    for table, rows in held["tables"].items():
        yield ""
        yield f"{table}: {len(rows)}"
        for row in rows:
            yield "  " + "; ".join(f"{name}: {value}" for name, value in row.items())


def _write(folder: Path, files: dict[str, str]) -> None:
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            problem = Problem(str(folder), "--out", "the folder is not empty", "Name a new one")
            raise BadInput([problem])
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, "utf-8")
    except OSError as error:
        message = f"the folder cannot be written: {error.strerror}"
        raise BadInput([Problem(str(folder), "--out", message, "Check the folder")]) from error
