"""`import_statements`: read statement files and book them, all of them or none."""

from __future__ import annotations

import json
import re
import sys
from argparse import ArgumentParser
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import OperationalError
from tqdm import tqdm

from config.problems import BadInput, Problem
from ledger.core.formats.csv_names import COLUMNS
from ledger.core.formats.decoding import MOST_BYTES
from ledger.core.formats.reading import NAMES, read_statements
from ledger.core.formats.summary import summary
from ledger.core.formats.types import ACCOUNT_TYPES, ReadOptions
from ledger.core.formats.values import zone

COMMAND = "import_statements"
NamedBytes = tuple[str, bytes]
_PERIOD = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})\.\.([0-9]{4}-[0-9]{2}-[0-9]{2})\Z")


class Command(BaseCommand):
    """Book statement files, or with --dry-run say what they hold."""

    help = "Import statements in OFX, QFX or CSV. Every file of a run is booked, or none."
    requires_system_checks: list[str] = []
    acts: tuple[str, ...] = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("paths", nargs="+", metavar="PATH", help="a file, or a folder of files")
        parser.add_argument("--household", metavar="REF", help="the household's reference")
        parser.add_argument("--account", metavar="REF", help="the account within the household")
        parser.add_argument("--kind", choices=ACCOUNT_TYPES, help="what kind of account it is")
        parser.add_argument("--firm", metavar="F", help="the firm, when there are several")
        parser.add_argument(
            "--map",
            metavar="COLUMN=NAME,...",
            help="which CSV column is which: date=Quand,amount=Combien, or by number date=1",
        )
        parser.add_argument(
            "--period", metavar="FROM..TO", help="first and last day, when the file gives none"
        )
        parser.add_argument(
            "--accept-gap", action="store_true", help="take statements whose sums do not tie"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="do everything, then roll it back"
        )
        parser.add_argument("--json", action="store_true", help="one JSON object a file")

    def handle(self, **options: Any) -> None:
        """Import or preview; exit 2 with every problem, and nothing written, on bad input."""
        try:
            read_options = _read_options(options)
            files = tuple(_files(options["paths"]))
        except BadInput as error:
            for problem in error.problems:
                self.stderr.write(str(problem))
            raise SystemExit(2) from error
        if options["dry_run"] and not options["household"]:
            answers = self._read_only(files, read_options, options["account"])
        else:
            answers = self._book_or_say_why(files, read_options, options)
        self._answer(answers, as_json=options["json"])

    def _read_only(
        self, files: tuple[NamedBytes, ...], options: ReadOptions, account: str | None
    ) -> list[dict[str, object]]:
        """What the files hold, without a household and without the database."""
        options = replace(options, today=datetime.now(zone(options.zone)).date())
        answers: list[dict[str, object]] = []
        for name, data in tqdm(files, unit="file", disable=None, file=sys.stderr):
            try:
                found = read_statements(data, name, options)
                answers += [summary(name, one, account=account) for one in found]
            except BadInput as error:
                answers.append(summary(name, None, problems=error.problems))
        return answers

    def _book_or_say_why(
        self, files: tuple[NamedBytes, ...], read_options: ReadOptions, options: dict[str, Any]
    ) -> list[dict[str, object]]:
        """Book the files; without a database, a dry run still says what they hold."""
        try:
            return self._book(files, read_options, options)
        except BadInput as error:
            return [summary(name, None, problems=error.problems) for name, _ in files[:1]]
        except OperationalError as error:
            reason = str(error).splitlines()[0]
            if options["dry_run"]:
                self.stderr.write(f"no database ({reason}): the files are read, nothing is matched")
                return self._read_only(files, read_options, options["account"])
            problem = Problem(COMMAND, "", f"the database does not answer ({reason})", "Start it")
            return [summary(name, None, problems=[problem]) for name, _ in files[:1]]

    def _book(
        self, files: tuple[NamedBytes, ...], read_options: ReadOptions, options: dict[str, Any]
    ) -> list[dict[str, object]]:
        from ledger.services.importing.asking import import_for_firm
        from ledger.services.importing.running import ImportRequest

        request = ImportRequest(
            files=files,
            options=read_options,
            household=options["household"],
            account=options["account"],
            dry_run=options["dry_run"],
        )
        with tqdm(total=len(files), unit="file", disable=None, file=sys.stderr) as bar:
            result = import_for_firm(request=request, firm=options["firm"], progress=bar.update)
        self.acts = result.acts
        return list(result.answers)

    def _answer(self, answers: list[dict[str, object]], *, as_json: bool) -> None:
        bad = False
        for answer in answers:
            problems = answer["problems"]
            assert isinstance(problems, list)
            bad = bad or bool(problems)
            if as_json:
                self.stdout.write(json.dumps(answer, ensure_ascii=False))
                continue
            for problem in problems:
                self.stderr.write(str(Problem(**problem)))
            if not problems and not self.acts:
                self.stdout.write(_line(answer))
        for act in () if as_json else self.acts:
            self.stdout.write(act)
        if bad:
            raise SystemExit(2)


def _line(answer: dict[str, object]) -> str:
    entries = answer["entries"]
    assert isinstance(entries, list)
    return (
        f"{answer['file']}: {answer['kind'] or 'account'} {answer['account'] or ''}, "
        f"{len(entries)} postings, closing {answer['closing'] or 'not given'}; "
        f"{answer['imported']} imported, {answer['already_here']} already here"
    )


def _files(paths: Iterable[str]) -> Iterator[NamedBytes]:
    """The files named, and those of the folders named. Raises BadInput when one cannot be read.

    No more of a file is read than the reader would take.
    """
    problems: list[Problem] = []
    found: list[Path] = []
    for text in paths:
        path = Path(text)
        if path.is_dir():
            inside = sorted(one for one in path.rglob("*") if one.suffix.lower() in NAMES)
            found.extend(one for one in inside if one.is_file())
            if not inside:
                problems.append(
                    Problem(text, "", "the folder holds no statement file", "Name another folder")
                )
        elif path.is_file():
            found.append(path)
        else:
            problems.append(Problem(text, "", "there is no such file", "Check the path"))
    read: list[NamedBytes] = []
    for path in dict.fromkeys(found):
        try:
            with path.open("rb") as file:
                read.append((str(path), file.read(MOST_BYTES + 1)))
        except OSError as error:
            reason = error.strerror or str(error)
            problems.append(
                Problem(str(path), "", f"the file cannot be read: {reason}", "Check it")
            )
    if problems:
        raise BadInput(problems)
    return iter(read)


def _read_options(options: dict[str, Any]) -> ReadOptions:
    problems: list[Problem] = []
    columns = tuple(_mapping(options["map"], problems))
    period = _period(options["period"], problems)
    if problems:
        raise BadInput(problems)
    return ReadOptions(
        kind=options["kind"],
        columns=columns,
        period=period,
        accept_gap=options["accept_gap"],
    )


def _mapping(text: str | None, problems: list[Problem]) -> Iterator[tuple[str, str]]:
    for part in (text or "").split(",") if text else ():
        column, equals, name = part.partition("=")
        if not equals or column.strip() not in COLUMNS or not name.strip():
            problems.append(
                Problem(
                    COMMAND,
                    "--map",
                    f"{part!r} is not COLUMN=NAME",
                    f"Columns are: {', '.join(COLUMNS)}",
                )
            )
            continue
        yield column.strip(), name.strip()


def _period(text: str | None, problems: list[Problem]) -> tuple[date, date] | None:
    match = _PERIOD.match(text) if text else None
    try:
        if match:
            return date.fromisoformat(match.group(1)), date.fromisoformat(match.group(2))
    except ValueError:
        match = None
    if text and not match:
        problems.append(
            Problem(
                COMMAND,
                "--period",
                f"{text!r} is not a period",
                "Write 2025-02-01..2025-02-28",
            )
        )
    return None
