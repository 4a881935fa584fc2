"""`evaluate`: the pure engine on a household file, without the database."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput, Problem
from ledger.core.drift.settings import thresholds_from
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from ledger.core.evaluation import evaluate_text
from ledger.core.report import report_json
from planning.core.json_reader import load_json


class Command(BaseCommand):
    """Print a household's report as JSON."""

    help = "Evaluate a household file: plan, months, tracing, deductions, drift. No database."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("file", help='a household file, or "-" for standard input')
        parser.add_argument("--through", help="last month to close, such as 2026-05")
        parser.add_argument(
            "--json", action="store_true", help="also print problems as JSON on standard output"
        )

        parser.add_argument(
            "--thresholds",
            metavar="FILE",
            help="a JSON object of drift thresholds that differ from the defaults",
        )
        parser.add_argument(
            "--history",
            action="store_true",
            help="also replay the plan from every month since 1956, and project it (slow)",
        )

    def handle(self, **options: Any) -> None:
        """Evaluate and print; exit 2 with every problem when the input is bad."""
        try:
            text = read_text(options["file"])
            thresholds = read_thresholds(options["thresholds"])
            report = evaluate_text(
                text, options["file"], options["through"], datetime.now(UTC).date(), thresholds
            )
            shown = report_json(report, with_history=options["history"])
        except BadInput as error:
            for problem in error.problems:
                self.stderr.write(str(problem))
            if options["json"]:
                self.stdout.write(json.dumps([one.as_dict() for one in error.problems], indent=1))
            raise SystemExit(2) from error
        self.stdout.write(json.dumps(shown, indent=1, ensure_ascii=False))


def read_thresholds(name: str | None) -> Thresholds:
    """The thresholds of a file; the defaults without one. Raises BadInput."""
    if name is None:
        return DEFAULTS
    return thresholds_from(load_json(read_text(name), name), name)


def read_text(name: str) -> str:
    """A file's text, or standard input's for "-". Raises BadInput when it cannot be read."""
    try:
        if name == "-":
            return sys.stdin.buffer.read().decode("utf-8-sig")
        return Path(name).read_bytes().decode("utf-8-sig")
    except OSError as error:
        problem = Problem(
            name, "", f"the file cannot be read: {error.strerror}", "Check the path and its rights"
        )
        raise BadInput([problem]) from error
    except UnicodeDecodeError as error:
        problem = Problem(
            name, f"byte {error.start}", "the text is not UTF-8", "Save the file as UTF-8"
        )
        raise BadInput([problem]) from error
