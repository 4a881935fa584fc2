"""Rows are reached where it is somebody's business, and nowhere else.

Managers, raw SQL and get_object_or_404 go past the judge of who may see what.
They stand in mappings, selectors, services, commands, tasks and the wiring;
what answers a request asks a selector or a service.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house import sources

ALLOWED = re.compile(
    r"(mapping|tasks)\.py|.*/(selectors|services|models|migrations|demo|database|embedded)/"
    r"|.*/management/commands/|(planning|ledger|reports)/(mapping|tasks)\.py"
    # The judge itself, and the wiring that knows no household.
    r"|planning/access\.py|config/(audit|outbox|rates|status|tasks|webhooks)\.py"
    # A person's own second factors, by the person.
    r"|planning/sign_in\.py"
    # Who was shown what, written after the judge has answered.
    r"|planning/sightings\.py"
)
NEVER = re.compile(r".*/(views|api|templatetags)/")
MANAGERS = {"objects", "_base_manager", "_default_manager"}
RAW = {"cursor", "raw", "extra", "RawSQL"}
LOOK_UPS = {"get_object_or_404", "get_list_or_404"}


def reaches(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Each line that reaches for rows past the judge, and how."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in MANAGERS:
            # `Model.objects`; a PDF's `objects` hang on a small letter.
            name = node.value.attr if isinstance(node.value, ast.Attribute) else ""
            name = node.value.id if isinstance(node.value, ast.Name) else name
            if name[:1].isupper() or node.attr != "objects" or name in ("model", "cls"):
                yield node.lineno, node.attr
        elif isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            if name in RAW | LOOK_UPS:
                yield node.lineno, name


def modules() -> Iterator[tuple[str, Path]]:
    """The product's modules."""
    for path in sources.tracked():
        shown = sources.shown(path)
        if path.suffix == ".py" and shown.split("/")[0] in sources.PACKAGES:
            yield shown, path


def test_rows_are_reached_in_the_modules_for_it_alone():
    found = [
        f"{shown}:{line}: {how}"
        for shown, path in modules()
        if NEVER.match(shown) or not ALLOWED.match(shown)
        for line, how in reaches(ast.parse(path.read_text("utf-8")))
    ]
    assert found == []


@pytest.mark.parametrize(
    "line",
    [
        "rows.Household.objects.all()",
        "Household.objects.get(pk=1)",
        "model._base_manager.all()",
        "get_object_or_404(Household, pk=1)",
        "connection.cursor()",
        "rows.raw('SELECT 1')",
        "RawSQL('1', [])",
    ],
)
def test_each_way_past_the_judge_is_noticed(line: str):
    assert list(reaches(ast.parse(line)))


def test_every_answering_module_is_looked_at():
    looked_at = {shown for shown, _ in modules() if NEVER.match(shown)}
    assert {"reports/views/households.py", "reports/views/plans.py"} <= looked_at
