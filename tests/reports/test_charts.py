"""Charts: the same figures in drawing, words and table; colours follow the page."""

from __future__ import annotations

import re

from defusedxml import ElementTree

from reports import charts
from reports.packets.series import series
from tests.reports import sample

ROWS = series(sample.report(), "2026-09")
CAUSES = {"line-rate": "-1.98", "reborrowing": "4.00", "leaks": "0.00"}


def drawn():
    return (
        charts.balances_chart(ROWS, "en"),
        charts.deductible_chart(ROWS, "en"),
        charts.causes_chart("10.00", "12.02", CAUSES, "en"),
    )


def test_each_has_a_drawing_words_and_a_table():
    for chart in drawn():
        assert ElementTree.fromstring(chart.svg).tag.endswith("svg")
        assert len(chart.alt) > 40
        assert chart.rows
        assert all(len(row) == len(chart.headers) for row in chart.rows)


def test_words_and_table_carry_the_figures():
    balances, deductible, causes = drawn()
    assert "$397,900.00" in balances.alt
    assert balances.rows[-1][2] == "$397,900.00"
    assert "$7.77" in deductible.alt
    assert deductible.rows[-1][2] == "$7.77"
    assert causes.rows == (
        ("Plan", "$10.00"),
        ("Line rate", "−$1.98"),
        ("Re-borrowing", "+$4.00"),
        ("Actual", "$12.02"),
    )
    assert "−$1.98" in causes.svg  # the bar carries its amount, colour is not the only sign


def test_plan_is_told_from_actual_without_colour():
    balances, _, _ = drawn()
    assert "stroke-dasharray" in balances.svg


def test_page_colours_are_custom_properties_only():
    for chart in drawn():
        page = charts.themed(chart.svg, chart.alt)
        assert re.findall(r'(?:fill|stroke)="#[0-9a-fA-F]+"', page) == []
        assert 'role="img"' in page
        assert "style=" not in page


def test_alternative_text_is_escaped():
    page = charts.themed("<svg ></svg>", '"><script>')
    assert "<script>" not in page


def test_nothing_to_draw():
    assert charts.balances_chart([], "en") is None
    assert charts.deductible_chart([], "en") is None
    assert charts.causes_chart(None, "1.00", CAUSES, "en") is None
    assert charts.causes_chart("1.00", "1.00", {"leaks": "0.00"}, "en") is None


def test_drawing_library_is_not_loaded_before_it_is_needed():
    import subprocess
    import sys

    code = (
        "import sys, django; django.setup(); import reports.charts, reports.rendering\n"
        "assert not {'vl_convert', 'weasyprint'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
