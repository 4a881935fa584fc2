"""`packet`: issue a household's packet and write it as a PDF."""

from __future__ import annotations

import json
import re
import sys
from argparse import ArgumentParser
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from tqdm import tqdm

from config.files import write_whole
from config.problems import BadInput, Problem
from reports.packets.annual import NotTiedError
from reports.packets.period import read_quarter
from reports.packets.proposal import STARTS_EVERY
from reports.services.annual import AnnualRequest, issue_annual
from reports.services.asking import access_for
from reports.services.packets import (
    NotClosedError,
    QuarterlyRequest,
    draw_packet,
    issue_quarterly,
)
from reports.services.proposals import ProposalRequest, issue_proposal

_YEAR = re.compile(r"[0-9]{4}\Z")


class Command(BaseCommand):
    """Issue a packet: exit 0 written, 1 months are not closed, 2 bad input."""

    help = "Issue a household's packet as a PDF. Safe to repeat: equal inputs, equal packet."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        kinds = parser.add_subparsers(dest="kind", required=True)
        quarterly = kinds.add_parser("quarterly", help="the packet of one quarter")
        quarterly.add_argument("ref", metavar="REF", help="the household's reference")
        quarterly.add_argument("quarter", metavar="YYYY-Qn", help="the quarter, as in 2026-Q3")
        add_common(quarterly, "quarter end + 10")
        annual = kinds.add_parser("annual", help="the accountant's packet of one calendar year")
        annual.add_argument("ref", metavar="REF", help="the household's reference")
        annual.add_argument("year", metavar="YYYY", help="the calendar year, as in 2025")
        add_common(annual, "year end + 10")
        proposal = kinds.add_parser("proposal", help="the proposal of the plan in force")
        proposal.add_argument("ref", metavar="REF", help="the household's reference")
        proposal.add_argument(
            "--every",
            type=int,
            default=STARTS_EVERY,
            metavar="N",
            help="replay history from each N-th month; default 12, 1 takes a minute or more",
        )
        add_common(proposal, "the day the plan's version was put on file")

    def handle(self, **options: Any) -> None:
        """Issue, draw and write the packet."""
        try:
            request, out, access = self._read(options)
            with access.opened():
                if isinstance(request, ProposalRequest):
                    packet = issue_proposal(access=access, request=request, watch=bar)
                elif isinstance(request, AnnualRequest):
                    packet = issue_annual(access=access, request=request)
                else:
                    packet = issue_quarterly(access=access, request=request)
            # Its own transaction each: a packet once issued stays, drawn or not.
            with access.opened():
                packet = draw_packet(access=access, packet_id=packet.pk)
                files = files_of(packet)
        except BadInput as error:
            self._refuse(error, as_json=options["json"])
        except NotClosedError as error:
            self._wait(error, options)
        except NotTiedError as error:
            self._untied(error, options)
        written = [(write_whole(out / name, content), sha) for name, content, sha in files]
        self._tell(packet, written, as_json=options["json"])

    def _read(
        self, options: dict[str, Any]
    ) -> tuple[QuarterlyRequest | ProposalRequest | AnnualRequest, Path, Any]:
        """The request, the folder and the access. Raises BadInput with every fault."""
        problems: list[Problem] = []
        quarter = as_of = access = None
        try:
            quarter = read_quarter(options["quarter"]) if options["kind"] == "quarterly" else None
        except BadInput as error:
            problems += error.problems
        year = options.get("year") or ""
        if options["kind"] == "annual" and not _YEAR.match(year):
            problems.append(Problem("-", "YYYY", f"{year!r} is no year", "Write it as 2025"))
        try:
            as_of = date.fromisoformat(options["as_of"]) if options["as_of"] else None
        except ValueError:
            problems.append(
                Problem(
                    "-", "--as-of", f"{options['as_of']!r} is no date", "Write it as 2026-10-10"
                )
            )
        out = Path(options["out"])
        if out.exists() and not out.is_dir():
            problems.append(Problem(str(out), "--out", "this is a file", "Name a folder"))
        try:
            access = access_for(options["ref"], options["firm"])
        except BadInput as error:
            problems += error.problems
        if problems:
            raise BadInput(problems)
        ref, language = options["ref"], options["language"]
        if quarter is not None:
            return QuarterlyRequest(ref, quarter, language, as_of), out, access
        if options["kind"] == "annual":
            return AnnualRequest(ref, int(year), language, as_of), out, access
        return ProposalRequest(ref, language, as_of, options["every"]), out, access

    def _refuse(self, error: BadInput, *, as_json: bool) -> None:
        for problem in error.problems:
            self.stderr.write(str(problem))
        if as_json:
            problems = [one.as_dict() for one in error.problems]
            self.stdout.write(json.dumps({"problems": problems}, ensure_ascii=False, indent=1))
        raise SystemExit(2) from error

    def _wait(self, error: NotClosedError, options: dict[str, Any]) -> None:
        ref = options["ref"]
        for month in error.open_months:
            self.stderr.write(
                f"{ref}: {month} is not closed. Import its statements, then run close_month {month}"
            )
        for month in error.stale_months:
            self.stderr.write(
                f"{ref}: facts of {month} changed since its close. Run close_month {month} again"
            )
        if options["json"]:
            waiting = {"not_closed": error.open_months, "to_close_again": error.stale_months}
            self.stdout.write(json.dumps(waiting, indent=1))
        raise SystemExit(1) from error

    def _untied(self, error: NotTiedError, options: dict[str, Any]) -> None:
        ref = options["ref"]
        for month, line in error.months:
            where = "the lines together" if line == "*" else line
            self.stderr.write(
                f"{ref}: {month}: {where} does not tie to the statements. "
                f"Import or correct the statement, then run close_month {month}"
            )
        if options["json"]:
            self.stdout.write(json.dumps({"not_tied": error.months}, indent=1))
        raise SystemExit(1) from error

    def _tell(self, packet: Any, written: list[tuple[Path, str]], *, as_json: bool) -> None:
        if not as_json:
            for path, sha in written:
                self.stdout.write(f"{sha}  {path}")
            return
        shown = {
            "file": str(written[0][0]),
            "sha256": packet.pdf_sha256,
            "version": packet.version,
            "period": packet.period,
            "language": packet.language,
            "as_of": packet.as_of.isoformat(),
            "inputs": packet.input_digest,
        }
        if len(written) > 1:
            shown["files"] = [{"file": str(path), "sha256": sha} for path, sha in written]
        self.stdout.write(json.dumps(shown, ensure_ascii=False, indent=1))


def files_of(packet: Any) -> list[tuple[str, bytes, str]]:
    """A stored packet's files: name, bytes, SHA-256; three for an annual packet."""
    files = [(packet.file_name_of("pdf"), bytes(packet.pdf), packet.pdf_sha256)]
    if packet.kind == "annual":
        files.append((packet.file_name_of("xlsx"), bytes(packet.xlsx), packet.xlsx_sha256))
        files.append((packet.file_name_of("csv"), bytes(packet.tables), packet.tables_sha256))
    return files


def add_common(parser: ArgumentParser, dated: str) -> None:
    """The arguments that every kind of packet takes; `dated` says the date it has by default."""
    parser.add_argument("--out", required=True, metavar="DIR", help="folder for the PDF")
    parser.add_argument("--firm", metavar="F", help="the firm, when several know the ref")
    parser.add_argument("--language", choices=("en", "fr"), help="default: the household's own")
    parser.add_argument(
        "--as-of", metavar="YYYY-MM-DD", help=f"date of the packet; default: {dated}"
    )
    parser.add_argument("--json", action="store_true", help="print the outcome as JSON")


def bar(starts: Sequence[str]) -> Iterable[str]:
    """The starts of history with a progress bar on the error output."""
    shown: Iterable[str] = tqdm(
        starts, desc="Replaying history", unit="start", disable=None, file=sys.stderr
    )
    return shown
