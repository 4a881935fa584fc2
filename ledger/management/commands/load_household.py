"""`load_household`: take household files into the book, all of them or none."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction
from tqdm import tqdm

from config.problems import BadInput, Problem
from ledger.services.households import Loaded, load_households
from planning.access import Access
from planning.models import Firm
from planning.selectors.firms import firm_to_load_into, firms
from planning.services.firms import create_firm

FIRST_FIRM = "Our firm"
"""The name of the firm that is started when households are loaded before there is one."""


class Command(BaseCommand):
    """Load household files."""

    help = "Load household files into the book. The same file twice changes nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("files", nargs="+", metavar="FILE", help='a household file, or "-"')
        parser.add_argument("--firm", metavar="NAME", help="the firm, when there are several")
        parser.add_argument(
            "--create-firm", metavar="NAME", help="start this firm if it is not there, and use it"
        )
        parser.add_argument("--reason", default="", help="why, for versions and the trail")
        parser.add_argument("--json", action="store_true", help="print one JSON object a file")

    def handle(self, **options: Any) -> None:
        """Load; exit 2 with every problem, and nothing written, on bad input."""
        try:
            files = read_files(options["files"])
            with transaction.atomic():  # a firm is not started for files that are refused
                firm = _firm(options, files)
                loaded = load_households(
                    access=Access.system(firm.pk, "load_household"),
                    files=tqdm(files, unit="file", disable=None, file=sys.stderr),
                    reason=options["reason"],
                )
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
        for (name, _), one in zip(files, loaded, strict=True):
            if options["json"]:
                self.stdout.write(json.dumps(_shown(name, one), ensure_ascii=False))
            else:
                what = "; ".join(one.changes) if one.changed else "already here, nothing changed"
                self.stdout.write(f"{name}: {one.ref} ({firm.name}): {what}")


def _firm(options: dict[str, Any], files: list[tuple[str, bytes]]) -> Firm:
    wanted = options["create_firm"]
    if wanted is None:
        found = firm_to_load_into(_refs(files), options["firm"], "load_household")
        return found or create_firm(name=FIRST_FIRM)
    named = [one for one in firms() if one.name == wanted]
    return named[0] if named else create_firm(name=wanted)


def _refs(files: list[tuple[str, bytes]]) -> tuple[str, ...]:
    """The references the files name, as far as they can be read; loading checks the rest."""
    found: list[str] = []
    for _, content in files:
        try:
            ref = json.loads(content)["household"]["ref"]
        except (ValueError, KeyError, TypeError, RecursionError):
            continue
        if isinstance(ref, str):
            found.append(ref)
    return tuple(found)


def _shown(name: str, one: Loaded) -> dict[str, object]:
    return {
        "file": name,
        "household": one.ref,
        "created": one.created,
        "changed": one.changed,
        "changes": list(one.changes),
    }


def read_files(names: list[str]) -> list[tuple[str, bytes]]:
    """(name, bytes) of every file. Raises BadInput with all that cannot be read."""
    found: list[tuple[str, bytes]] = []
    problems: list[Problem] = []
    for name in names:
        try:
            found.append((name, sys.stdin.buffer.read() if name == "-" else _bytes(name)))
        except OSError as error:
            message = f"the file cannot be read: {error.strerror}"
            problems.append(Problem(name, "", message, "Check the path and its rights"))
    if problems:
        raise BadInput(problems)
    return found


def _bytes(name: str) -> bytes:
    return Path(name).read_bytes()


def refuse(command: BaseCommand, error: BadInput, *, as_json: bool) -> None:
    """Say every problem and exit 2."""
    for problem in error.problems:
        command.stderr.write(str(problem))
    if as_json:
        shown = [problem.as_dict() for problem in error.problems]
        command.stdout.write(json.dumps(shown, ensure_ascii=False, indent=1))
    raise SystemExit(2) from error
