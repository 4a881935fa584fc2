"""Imports point one way, and the cores are pure."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house import sources

FRAMEWORKS = {"django", "celery", "redis", "psycopg", "rest_framework", "weasyprint", "structlog"}
MODULES = sources.core_modules()

# Ten thousand paths at once are projections in binary floating point, never bookkeeping:
# these modules may say float, and only their own front door may import them.
PROJECTIONS = {"scenarios", "projection_start", "projection_case"}
FRONT_DOOR = "monte_carlo"
EXACT = [one for one in MODULES if one.stem not in PROJECTIONS]


def imported(tree: ast.AST) -> set[str]:
    """The top names of everything a module imports, at any depth."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module.split(".")[0])
    return names


def annotations(tree: ast.AST) -> list[ast.expr]:
    """Every annotation of a signature or an attribute."""
    found: list[ast.expr | None] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            found.append(node.returns)
            every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            found += [argument.annotation for argument in every]
        elif isinstance(node, ast.AnnAssign):
            found.append(node.annotation)
    return [annotation for annotation in found if annotation is not None]


def says_float(annotation: ast.expr) -> bool:
    """Whether `float` occurs in an annotation."""
    names = (node.id for node in ast.walk(annotation) if isinstance(node, ast.Name))
    return "float" in names


def test_there_are_core_modules():
    assert len(MODULES) > 20


@pytest.mark.parametrize("module", MODULES, ids=sources.shown)
def test_a_core_module_knows_no_framework(module: Path):
    assert imported(ast.parse(module.read_text("utf-8"))) & FRAMEWORKS == set()


@pytest.mark.parametrize("module", EXACT, ids=sources.shown)
def test_a_core_module_has_no_float_in_its_signatures(module: Path):
    tree = ast.parse(module.read_text("utf-8"))
    assert [one.lineno for one in annotations(tree) if says_float(one)] == []


def test_only_the_projection_itself_imports_modules_that_say_float():
    hidden = {f"planning.core.{name}" for name in PROJECTIONS}
    found = []
    for module in EXACT:
        tree = ast.parse(module.read_text("utf-8"))
        names = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        if names & hidden and module.stem != FRONT_DOOR:
            found.append(sources.shown(module))
    assert found == []
    assert {one.stem for one in MODULES} >= PROJECTIONS | {FRONT_DOOR}


@pytest.mark.parametrize("module", MODULES, ids=sources.shown)
def test_a_core_module_asks_no_clock(module: Path):
    tree = ast.parse(module.read_text("utf-8"))
    asked = [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in {"today", "now", "utcnow"}
    ]
    assert asked == []


def test_the_import_contract_holds():
    command = Path(sys.executable).with_name("lint-imports")
    checked = subprocess.run(
        [str(command), "--no-cache"], cwd=sources.ROOT, capture_output=True, text=True, check=False
    )
    assert checked.returncode == 0, checked.stdout
