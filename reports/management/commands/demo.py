"""`demo`: make the invented book, close its months, issue its packets, print the logins."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from collections.abc import Iterable
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.management import CommandError, call_command
from django.core.management.base import BaseCommand
from tqdm import tqdm

from config import environment
from config.celery import app
from planning.access import Access
from reports.demo import book, people
from reports.demo.profiles import FIRST_MONTH, LAST_MONTH, OTHER_PROFILES, PROFILES
from reports.packets.period import read_quarter
from reports.services.packets import QuarterlyRequest, draw_packet, issue_quarterly

QUARTER = "2026-Q3"
CLIENT_HOUSEHOLD = "HH-0101"


class Command(BaseCommand):
    """A firm of 25 households over 30 months, and a second firm that must never show."""

    help = "Make the demo book of invented people. Safe to repeat: what is there stays."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument(
            "--packets", metavar="DIR", help="where the packets go (default: the data folder)"
        )
        parser.add_argument(
            "--inline", action="store_true", help="close here, even when a worker is running"
        )

    def handle(self, **options: Any) -> None:
        """Play the story step by step, each with its bar."""
        queue = not options["inline"] and worker_is_there()
        firm_id = people.prepare_firm(people.FIRM, people.PEOPLE)
        other_id = people.prepare_firm(people.OTHER_FIRM, people.OTHER_PEOPLE)
        access = Access.system(firm_id, "demo book")
        ours = book.stories(PROFILES, advised=True)
        theirs = book.stories(OTHER_PROFILES, advised=False)
        for story in self.bar(ours, "Loading households"):
            book.load(access, story)
        for story in theirs:
            book.load(Access.system(other_id, "demo book"), story)
        people.open_client_page(firm_id, CLIENT_HOUSEHOLD)
        self.close(people.FIRM, book.LOADED_THROUGH, queue=queue)
        for story in self.bar(ours, "Importing statements"):
            book.take_in(people.FIRM, story)
            book.decide_uses(access, story)
        for story in theirs:
            book.take_in(people.OTHER_FIRM, story)
            book.decide_uses(Access.system(other_id, "demo book"), story)
        for firm in (people.FIRM, people.OTHER_FIRM):
            self.close(firm, LAST_MONTH, queue=queue)
        self.correct(access, ours)
        folder = Path(options["packets"] or environment.data_folder() / "demo-packets")
        paths = self.packets(firm_id, folder)
        self.farewell(paths)

    def bar(self, items: Iterable[Any], text: str) -> Iterable[Any]:
        """The items with a progress bar."""
        return tqdm(list(items), desc=f"{text:<22}", unit="", file=sys.stdout, dynamic_ncols=True)

    def close(self, firm: str, through: str, *, queue: bool, household: str | None = None) -> None:
        """Close every month up to one, by the workers when they run."""
        where: dict[str, Any] = {"queue": True} if queue else {"inline": True}
        where["household"] = household
        try:
            # Its bar shows how far it is; its line a month would drown the logins.
            told = StringIO()
            call_command("close_month", through, first=FIRST_MONTH, firm=firm, stdout=told, **where)
        except SystemExit as left:
            if left.code not in (0, None):
                raise CommandError(f"closing {firm} through {through} did not finish") from left

    def correct(self, access: Access, stories: tuple[book.Story, ...]) -> None:
        """A paper that comes to light after a packet was issued: both are restated."""
        for story in stories:
            if story.misclaimed is None:
                continue
            self.packet(access, story.profile.ref)
            book.correct_uses(access, story)
            # One household: closed here, with or without workers.
            self.close(people.FIRM, LAST_MONTH, queue=False, household=story.profile.ref)

    def packet(self, access: Access, ref: str) -> bytes:
        """Issue and draw a household's quarterly packet; its bytes."""
        with access.opened():
            request = QuarterlyRequest(ref=ref, quarter=read_quarter(QUARTER))
            packet = issue_quarterly(access=access, request=request)
            return bytes(draw_packet(access=access, packet_id=packet.pk).pdf)

    def packets(self, firm_id: UUID, folder: Path) -> list[Path]:
        """Issue every household's quarterly packet and write its PDF."""
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        access = Access.system(firm_id, "demo book")
        paths: list[Path] = []
        for profile in self.bar(PROFILES, "Issuing packets"):
            path = folder / f"{profile.ref}-{QUARTER}.pdf"
            path.write_bytes(self.packet(access, profile.ref))
            paths.append(path)
        return paths

    def farewell(self, paths: list[Path]) -> None:
        """Say where the packets are and who may sign in."""
        out = self.stdout
        out.write(f"\n{len(paths)} packets in {paths[0].parent}, the first: {paths[0].name}")
        out.write(f"\nSign in to {people.FIRM} (invented people, this machine only):")
        for one in people.PEOPLE:
            out.write(f"  {one.role:<11}{one.email:<32}{people.password_of(one.email)}")


def worker_is_there() -> bool:
    """Whether a worker of ours answers within two seconds."""
    try:
        return bool(app.control.ping(timeout=2.0))
    except Exception:  # no broker, no worker: close here
        return False
