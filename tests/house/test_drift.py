"""Every drift rule has a near miss, words, a row in the reference, and the code of its name."""

from __future__ import annotations

import ast
import inspect
import re

from ledger.core.drift import rules
from reports.packets.finding_words import FINDING_WORDS
from tests.house.sources import ROOT
from tests.ledger.core.near_misses import NEAR_MISSES

CODES = {rule.__name__.replace("_", "-"): rule for rule in rules.RULES}


def test_every_rule_has_a_near_miss_and_no_near_miss_is_left_over() -> None:
    assert set(NEAR_MISSES) == set(CODES)


def test_every_code_has_words_and_a_row_in_the_reference() -> None:
    assert set(FINDING_WORDS) == set(CODES)
    text = (ROOT / "docs/reference/drift.md").read_text("utf-8")
    table = text.split("| code |")[1].split("\n\n")[0]
    assert set(re.findall(r"^\| `([a-z-]+)` \|", table, re.MULTILINE)) == set(CODES)


def test_a_rules_findings_carry_its_code_and_a_remedy() -> None:
    """Read from the source: each module of rules names every code it makes, with a remedy."""
    for module in {inspect.getmodule(rule) for rule in CODES.values()}:
        assert module is not None
        tree = ast.parse(inspect.getsource(module))
        for call in ast.walk(tree):
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Finding":
                given = {one.arg: one.value for one in call.keywords}
                assert {"code", "key", "dollars_cents", "severity", "life", "remedy"} <= set(given)
                code = given["code"]
                if isinstance(code, ast.Constant):
                    assert code.value in CODES
