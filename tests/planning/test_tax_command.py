"""The `tax` command: its arguments, its JSON, and every wrong argument at once."""

from __future__ import annotations

import io
import json
from typing import Any

from django.core.management import call_command


def run(*words: str) -> tuple[int, str, str]:
    """Exit code, standard output, standard error."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("tax", *words, stdout=out, stderr=err)
    except SystemExit as stop:
        return int(stop.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def shown(*words: str) -> dict[str, Any]:
    code, out, err = run(*words)
    assert (code, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    return found


def test_the_published_keys_and_the_saving() -> None:
    got = shown("ON", "2025", "--income", "150000", "--deduction", "9000.00")
    assert set(got) == {"before", "after", "saving", "marginal"}
    parts = {"federal", "abatement", "provincial", "surtax", "health_premium", "total"}
    assert set(got["before"]) == set(got["after"]) == parts
    # canada-tax-toolkit 0.4.0 has 42,295.94 for the total, rounding floats.
    assert got["before"] == {
        "federal": "26907.55", "abatement": "0.00", "provincial": "11801.87",
        "surtax": "2836.53", "health_premium": "750.00", "total": "42295.95",
    }  # fmt: skip
    assert got["saving"] == "3906.87"
    assert got["marginal"] == {
        "ordinary": "0.4497", "eligible_dividend": "0.2753", "other_dividend": "0.3790",
        "capital_gain": "0.2248",
    }  # fmt: skip


def test_rates_round_halves_away_from_zero_as_tables_do() -> None:
    """Québec's top rate is 53.305 % and printed as 53.31 % [from memory]."""
    assert shown("QC", "2025", "--income", "600000")["marginal"]["ordinary"] == "0.5331"


def test_a_dividend_can_lower_the_tax_of_a_small_income() -> None:
    """Ontario 2025 at 45,000: (14.5 % + 5.05 % - 15.0198 % - 10 %) x 1.38."""
    got = shown("on", "2025", "--income", "45000")
    assert got["marginal"]["eligible_dividend"] == "-0.0755"


def test_every_kind_of_income_is_counted() -> None:
    words = ("--interest", "1000", "--eligible-dividends", "2000", "--other-dividends", "3000",
             "--capital-gain", "4000")  # fmt: skip
    got = shown("AB", "2026", "--income", "90000", *words)
    plain = shown("AB", "2026", "--income", "90000")
    gross = 1000 + 2000 * 1.38 + 3000 * 1.15 + 4000 / 2
    federal = 0.205 * gross - 0.150198 * 2760 - 0.090301 * 3450
    rise = float(got["before"]["federal"]) - float(plain["before"]["federal"])
    assert abs(rise - federal) < 0.011
    assert got["saving"] == "0.00"


def test_the_quebec_limit_is_on_unless_turned_off() -> None:
    words = ("QC", "2025", "--income", "120000", "--interest", "5000", "--deduction", "12000")
    limited, free = shown(*words), shown(*words, "--quebec-limit", "off")
    assert limited == shown(*words, "--quebec-limit", "on")
    assert limited["after"]["federal"] == free["after"]["federal"]
    assert float(limited["after"]["provincial"]) > float(free["after"]["provincial"])
    # Only 5,000 of the 12,000 is deducted at home: 120,000 to 125,000 lie in the 24 % band.
    before = float(limited["before"]["provincial"]) - float(limited["after"]["provincial"])
    assert abs(before - 0.24 * 5000) < 0.011


def test_low_income_reductions_and_the_minimum_tax_screen_only_when_asked_for() -> None:
    words = ("ON", "2025", "--income", "18500")
    assert shown(*words)["before"]["provincial"] == "290.53"
    reduced = shown(*words, "--low-income-reductions")
    assert reduced["before"]["provincial"] == "0.00"
    big = ("BC", "2026", "--income", "500000", "--deduction", "400000")
    assert "minimum_tax" not in shown(*big)
    screen = shown(*big, "--minimum-tax")["minimum_tax"]
    assert screen["triggered"] is True
    assert screen["exemption"] == "181440.00"


def test_every_wrong_argument_is_named_at_once() -> None:
    words = ("XX", "2019", "--income", "12,5", "--interest", "1e5", "--deduction", "-5",
             "--eligible-dividends", "q", "--other-dividends", "1.234", "--capital-gain", "",
             "--quebec-limit", "maybe")  # fmt: skip
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    for where in ("province", "year", "--income", "--interest", "--deduction",
                  "--eligible-dividends", "--other-dividends", "--capital-gain",
                  "--quebec-limit"):  # fmt: skip
        assert f"tax: {where}: " in err
    assert "Years known: 2023, 2024, 2025, 2026" in err
    assert len(err.splitlines()) == 9


def test_missing_arguments_are_named_at_once_too_and_as_json() -> None:
    code, out, err = run("--json")
    assert code == 2
    assert [one["where"] for one in json.loads(out)] == ["province", "year", "--income"]
    assert err.count("is missing") == 3


def test_a_year_written_in_other_digits_is_refused() -> None:
    for year in ("²", "２０２５", "2025.0", " 2025"):
        code, _, err = run("ON", year, "--income", "1")
        assert code == 2
        assert "not on file" in err
