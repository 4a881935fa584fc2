"""`retention`: what is past its time, and removing it."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from planning.services.retention import CLASSES, past_retention


class Command(BaseCommand):
    """Report or remove what is past its retention."""

    help = "Report what is past its retention; remove it only with --apply. Never facts."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("--apply", action="store_true", help="remove what is past its time")
        parser.add_argument("--json", action="store_true", help="print as JSON")

    def handle(self, **options: Any) -> None:
        """Count or remove, and say so."""
        found = past_retention(apply=options["apply"])
        if options["json"]:
            shown = {"applied": options["apply"], "rows": found}
            self.stdout.write(json.dumps(shown, indent=1))
            return
        word = "removed" if options["apply"] else "past their time"
        for one in CLASSES:
            self.stdout.write(f"{one.name}: {found[one.name]} {word} (kept {one.days} days)")
