"""Thresholds as a firm writes them: read strictly, kept short."""

from __future__ import annotations

from decimal import Decimal

import pytest

from config.problems import BadInput
from ledger.core.drift.settings import SETTINGS, thresholds_from, thresholds_json, written
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from reports.packets.threshold_words import THRESHOLD_WORDS


def test_what_differs_is_kept_and_read_back() -> None:
    found = thresholds_from({"missed_reborrow": "75.50", "idle_days": 5, "debt_service": "0.40"})
    assert found == Thresholds(missed_reborrow_cents=7_550, debt_service=Decimal("0.40"))
    assert thresholds_json(found) == {"missed_reborrow": "75.50", "debt_service": "0.40"}
    assert thresholds_from({one.name: written(one, DEFAULTS) for one in SETTINGS}) == DEFAULTS
    assert thresholds_json(DEFAULTS) == {}


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("idle_days", 366, 367),
        ("idle_days", 0, -1),
        ("idle_days", 1, True),
        ("missed_reborrow_days", 28, 29),
        ("missed_reborrow_days", 1, 0),
        ("disclosure_months", 60, 61),
        ("disclosure_months", 1, 0),
        ("leverage_age_years", 120, 121),
        ("missed_reborrow", "1000000.00", "1000000.01"),
        ("missed_reborrow", "0.00", "-0.01"),
        ("missed_reborrow", "0.01", "0.001"),
        ("missed_reborrow", "50", 50),
        ("loan_to_value", "1", "1.0001"),
        ("rate_off_plan", "0.10", "0.1001"),
        ("refund_share", "0.5", 0.5),
    ],
)
def test_each_kind_has_its_range(name: str, good: object, bad: object) -> None:
    thresholds_from({name: good})
    with pytest.raises(BadInput) as caught:
        thresholds_from({name: bad})
    (problem,) = caught.value.problems
    assert problem.where == name
    assert problem.remedy


def test_all_faults_at_once_and_steps_in_order() -> None:
    with pytest.raises(BadInput) as caught:
        thresholds_from({"nonsense": 1, "idle_days": "5", "renewal_fix_days": 121})
    assert {one.where for one in caught.value.problems} == {
        "nonsense", "idle_days", "renewal_fix_days"
    }  # fmt: skip
    thresholds_from({"renewal_fix_days": 120})
    with pytest.raises(BadInput):
        thresholds_from(["a"])


def test_every_threshold_has_words_once() -> None:
    names = [name for _title, words in THRESHOLD_WORDS for name in words]
    assert sorted(names) == sorted(one.name for one in SETTINGS)
