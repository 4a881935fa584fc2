"""The cores take whole cents and exact rates: a float or a NaN is refused, never rounded."""

from __future__ import annotations

import ast
import json
import math
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.problems import BadInput
from ledger.core.drift.settings import thresholds_from
from planning.core.household_file import read_household
from planning.core.money import cents_from_text, prorate, rate_from_text, round_half_up
from tests.examples import examples
from tests.house import sources
from tests.house.test_imports import EXACT
from tests.planning.core.plan_cases import data

NAN = ("NaN", "Infinity", "-Infinity")


def amounts(tree: ast.AST) -> list[tuple[str, ast.expr | None, int]]:
    """Every parameter or attribute named as cents, with its annotation and line."""
    found: list[tuple[str, ast.expr | None, int]] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            found += [(one.arg, one.annotation, one.lineno) for one in every]
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            found.append((node.target.id, node.annotation, node.lineno))
    return [one for one in found if one[0].endswith("_cents") or one[0] == "cents"]


def inexact(tree: ast.AST) -> list[str]:
    """What goes by the name of cents and is not declared whole."""
    wrong = []
    for name, annotation, line in amounts(tree):
        nodes = [] if annotation is None else list(ast.walk(annotation))
        words = {one.id for one in nodes if isinstance(one, ast.Name)}
        if not words & {"int", "Classes"} or words & {"float", "Decimal", "Fraction"}:
            wrong.append(f"{name}: line {line}")
    return wrong


@pytest.mark.parametrize("module", EXACT, ids=sources.shown)
def test_what_is_named_cents_is_declared_whole(module: Path) -> None:
    """P23, by signature: no Decimal, float or text goes by the name of cents."""
    assert inexact(ast.parse(module.read_text("utf-8"))) == []


def test_a_signature_with_another_type_would_be_found() -> None:
    tree = ast.parse("def pay(amount_cents: Decimal, cents: int, fee_cents) -> int: ...")
    assert inexact(tree) == ["amount_cents: line 1", "fee_cents: line 1"]


@given(st.floats())
def test_a_float_is_never_rounded_to_the_cent(value: float) -> None:
    """P23, where money is made: the one rounding function."""
    with pytest.raises(TypeError):
        round_half_up(value)  # type: ignore[arg-type]


@pytest.mark.parametrize("word", NAN)
def test_a_decimal_that_is_no_number_is_refused(word: str) -> None:
    with pytest.raises((ValueError, OverflowError)):
        round_half_up(Decimal(word))
    with pytest.raises((ValueError, OverflowError)):
        prorate(100, (Decimal(word), Decimal(1)))


@pytest.mark.parametrize("read", [cents_from_text, rate_from_text])
@pytest.mark.parametrize("word", ["nan", "NaN", "inf", "1e3", "-Infinity", "", " 1", "1_000", "٣"])
def test_text_that_is_no_plain_number_is_refused(read: Callable[[str], object], word: str) -> None:
    with pytest.raises(ValueError, match="is not"):
        read(word)


AMOUNTS = (
    ("facility", "lender_value"),
    ("mortgages", 0, "original_principal"),
    ("mortgages", 0, "terms", 0, "rate"),
    ("lines", 0, "spread"),
    ("prime", 0, 1),
    ("plan", "opening", "mtg"),
    ("plan", "reborrow", "share"),
    ("plan", "marginal", "ordinary"),
)


@pytest.mark.parametrize("path", AMOUNTS, ids=lambda one: ".".join(map(str, one)))
@settings(max_examples=examples(12), deadline=None)
@given(value=st.one_of(st.floats(), st.sampled_from(NAN), st.just(math.nan)))
def test_the_household_file_refuses_floats_and_nan_everywhere(
    path: tuple[str | int, ...], value: object
) -> None:
    """P23, at the reader: as a JSON number, as a word, as the constants JSON does not know."""
    document = data()
    place: object = document
    for step in path[:-1]:
        place = place[step]  # type: ignore[index]
    place[path[-1]] = value  # type: ignore[index]
    with pytest.raises(BadInput):
        read_household(json.dumps(document), "odd.json")


@settings(max_examples=examples(12), deadline=None)
@given(st.one_of(st.floats(), st.sampled_from(NAN)))
def test_a_threshold_refuses_floats_and_nan(value: object) -> None:
    for name in ("missed_reborrow", "rate_off_plan", "idle_days"):
        with pytest.raises(BadInput):
            thresholds_from({name: value})


def test_the_number_of_examples_follows_the_night(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TOWPATH_HYPOTHESIS", raising=False)
    assert examples(7) == 7
    monkeypatch.setenv("TOWPATH_HYPOTHESIS", "20000")
    assert examples(7) == 20000
