"""`close_month`: close a month, or a range of months, for one household, firm or all."""

from __future__ import annotations

import json
import sys
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from tqdm import tqdm

from config.problems import BadInput
from ledger.selectors.runs import CloseProgress, ItemProgress
from ledger.services.closing import asking
from ledger.services.closing.running import Outcome

POLL_SECONDS = 0.5


class Command(BaseCommand):
    """Close months here, or send them to the workers and watch."""

    help = "Close a month: trace, compare with the plan, list what drifted. Safe to repeat."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("month", metavar="YYYY-MM", help="the month to close")
        parser.add_argument(
            "--from", dest="first", metavar="YYYY-MM", help="close every month from this one on"
        )
        parser.add_argument("--firm", metavar="F", help="one firm, by its name; else every firm")
        parser.add_argument("--household", metavar="REF", help="one household, by its reference")
        where = parser.add_mutually_exclusive_group()
        where.add_argument(
            "--inline", action="store_true", help="close in this process (the default)"
        )
        where.add_argument(
            "--queue", action="store_true", help="send to the workers and watch them"
        )
        parser.add_argument(
            "--wait",
            type=float,
            default=600.0,
            metavar="SECONDS",
            help="with --queue: give up when nothing has moved for so long (default 600)",
        )
        parser.add_argument("--json", action="store_true", help="print the outcome as JSON")

    def handle(self, **options: Any) -> None:
        """Close and say how it stands: exit 0 all closed, 1 something is not, 2 bad input."""
        try:
            works = asking.plan_work(
                month=options["month"],
                first=options["first"],
                firm=options["firm"],
                household=options["household"],
            )
        except BadInput as error:
            self._refuse(error, as_json=options["json"])
        failed: list[Outcome] = []
        for work in works:
            if options["queue"]:
                _queue(work, options["wait"])
            else:
                failed += [one for one in _inline(work) if one.state == "failed"]
        answers = [asking.answer(work) for work in works]
        if options["json"]:
            self.stdout.write(json.dumps(_shown(options, answers), ensure_ascii=False, indent=1))
        else:
            for answer in answers:
                self._tell(answer)
        for one in failed:
            self.stderr.write(f"{one.month:%Y-%m}: {one.error}")
        items = [item for answer in answers for item in answer.items]
        if failed or any(item.state != "done" or item.stale_reason for item in items):
            raise SystemExit(1)

    def _refuse(self, error: BadInput, *, as_json: bool) -> None:
        for problem in error.problems:
            self.stderr.write(str(problem))
        if as_json:
            problems = [one.as_dict() for one in error.problems]
            self.stdout.write(json.dumps({"problems": problems}, indent=1))
        raise SystemExit(2) from error

    def _tell(self, answer: asking.FirmAnswer) -> None:
        for close in reversed(answer.closes):
            self.stdout.write(f"{answer.firm}  {close.month}  {close.state}  {_counts(close)}")
        for item in answer.items:
            if item.state != "done" or item.stale_reason:
                self.stdout.write(f"  {item.household}  {item.month}  {item.state}  {_why(item)}")


def _inline(work: asking.Work) -> tuple[Outcome, ...]:
    settled, total = next(asking.watch(work))
    with tqdm(
        total=total, initial=settled, unit="month", desc=work.firm, disable=None, file=sys.stderr
    ) as bar:

        def seen(outcome: Outcome) -> None:
            if outcome.state in ("done", "parked"):
                bar.update(min(1, total - bar.n))

        return asking.close_here(work, seen)


def _queue(work: asking.Work, seconds: float) -> None:
    """Hint the workers and watch; give up when nothing has moved for `seconds`."""
    asking.send(work)
    moved, until = -1, 0.0
    with tqdm(unit="month", desc=work.firm, disable=None, file=sys.stderr) as bar:
        for settled, total in asking.watch(work):
            bar.total, bar.n = total, settled
            bar.refresh()
            if settled > moved:
                moved, until = settled, time.monotonic() + seconds
            if settled >= total or time.monotonic() > until:
                return
            time.sleep(POLL_SECONDS)


def _counts(close: CloseProgress) -> str:
    names = ("done", "waiting", "pending", "running", "failed", "parked", "stale")
    counted = [f"{getattr(close, name)} {name}" for name in names if getattr(close, name)]
    return f"{close.total} households: " + ", ".join(counted)


def _why(item: ItemProgress) -> str:
    if item.error:
        return item.error
    if item.stale_reason:
        return f"to be closed again: {item.stale_reason}"
    return "a statement is missing" if item.state == "waiting" else ""


def _shown(options: dict[str, Any], answers: list[asking.FirmAnswer]) -> dict[str, Any]:
    return {
        "from": options["first"] or options["month"],
        "through": options["month"],
        "firms": [
            {
                "firm": answer.firm,
                "months": [_close_json(one) for one in reversed(answer.closes)],
                "households": [_item_json(one) for one in answer.items],
            }
            for answer in answers
        ],
    }


def _close_json(close: CloseProgress) -> dict[str, Any]:
    names = ("month", "state", "total", "done", "waiting", "pending", "running", "failed", "parked")
    return {name: getattr(close, name) for name in names}


def _item_json(item: ItemProgress) -> dict[str, Any]:
    names = ("household", "month", "version", "state", "reason", "error", "digest")
    return {name: getattr(item, name) for name in names}
