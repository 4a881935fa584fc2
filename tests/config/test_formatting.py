"""Figures as readers of English and French Canadian text expect them."""

from __future__ import annotations

from datetime import date

import pytest

from config import formatting as f

NB = "\u00a0"


@pytest.mark.parametrize(
    ("amount", "english", "french"),
    [
        ("1234.56", "$1,234.56", f"1{NB}234,56{NB}$"),
        ("-1234567.50", "−$1,234,567.50", f"−1{NB}234{NB}567,50{NB}$"),
        ("0.00", "$0.00", f"0,00{NB}$"),
        ("-0.01", "−$0.01", f"−0,01{NB}$"),
    ],
)
def test_money(amount, english, french):
    assert f.money(amount, "en") == english
    assert f.money(amount, "fr-ca") == french


def test_signed_and_whole_money():
    assert f.signed_money("12.00") == "+$12.00"
    assert f.signed_money("0.00") == "$0.00"
    assert f.whole_money("1234.50") == "$1,235"
    assert f.whole_money("-0.50") == "−$1"
    assert f.whole_money("-0.49") == "$0"
    assert f.cents(120437, "fr") == f"1{NB}204,37{NB}$"


def test_percent():
    assert f.percent("0.0545") == "5.45%"
    assert f.percent("0.0545", "fr") == f"5,45{NB}%"
    assert f.percent("0.08449", places=1) == "8.4%"


def test_dates():
    assert f.long_day("2026-02-01") == f"February{NB}1, 2026"
    assert f.long_day(date(2026, 2, 1), "fr") == f"1er{NB}février{NB}2026"
    assert f.long_day("2026-02-11", "fr") == f"11{NB}février{NB}2026"
    assert f.short_day("2026-09-30", "fr") == f"30{NB}sept.{NB}2026"
    assert f.long_month("2026-12", "fr") == f"décembre{NB}2026"
    assert f.short_month("2026-01") == f"Jan{NB}2026"
    assert f.quarter(2026, 3, "fr") == f"T3{NB}2026"
    assert f.quarter(2026, 3) == f"Q3{NB}2026"


def test_twelve_months_each():
    for months in (f.EN_MONTHS, f.FR_MONTHS, f.EN_SHORT, f.FR_SHORT):
        assert len(months) == 12
