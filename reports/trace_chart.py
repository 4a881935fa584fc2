"""A year's interest as one bar: what was deducted by use, and what was not.

Drawn by hand: a bar and its key need no charting library. Every part has a
letter, so colour is never the only signal; the table stands beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.translation import gettext as _

from config import formatting
from planning.core.money import text_from_cents
from reports.charts import FIRST, LESS, MORE, SECOND, Chart
from reports.drawing import GRID, INK, MUTED

WIDTH, BAR, ROW, TOP = 430, 30, 24, 22
FILLS = (FIRST, SECOND, MORE, MUTED)
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MOST = 12


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the bar: its words, cents, and whether it is deducted."""

    words: str
    cents: int
    deducted: bool


def year_chart(year: int, parts: Sequence[Part], language: str) -> Chart | None:
    """The bar of a year's interest; None when nothing entered the year.

    Past twelve parts the smallest deducted ones are drawn together.
    """
    shown = _few([one for one in parts if one.cents > 0])
    total = sum(one.cents for one in shown)
    if not total:
        return None
    height = TOP + BAR + 14 + ROW * len(shown)
    box = f'viewBox="0 0 {WIDTH} {height}" font-family="IBM Plex Sans" font-size="13.5"'
    svg = [f'<svg xmlns="http://www.w3.org/2000/svg" {box}>']
    start = 0
    for number, one in enumerate(shown):
        left, right = _place(start, total), _place(start + one.cents, total)
        start += one.cents
        fill, border = _look(number, deducted=one.deducted)
        box = f'width="{max(1, right - left)}" height="{BAR}" fill="{fill}" {border}'
        svg.append(f'<rect x="{left}" y="{TOP}" {box}/>')
        if right - left >= 12:
            svg.append(_text((left + right) // 2, TOP - 7, LETTERS[number], "middle"))
        y = TOP + BAR + 14 + ROW * number
        svg.append(f'<rect x="0.5" y="{y}" width="14" height="14" fill="{fill}" {border}/>')
        svg.append(_text(22, y + 11, f"{LETTERS[number]}  {_short(one.words)}"))
        svg.append(_text(WIDTH, y + 11, _amount(one.cents, language), "end"))
    svg.append("</svg>")
    deducted = sum(one.cents for one in shown if one.deducted)
    alt = _(
        "One bar of %(year)s's interest, %(total)s in all, of it %(deducted)s deducted, by use."
    ) % {
        "year": year,
        "total": _amount(total, language),
        "deducted": _amount(deducted, language),
    }
    return Chart(
        "year-trace",
        _("Where the year's interest went"),
        alt,
        "".join(svg),
        (_("Part"), _("Interest"), _("Share")),
        tuple(
            (one.words, _amount(one.cents, language), share(one.cents, total, language))
            for one in shown
        ),
    )


def share(part: int, whole: int, language: str) -> str:
    """part / whole as a percentage of one place; a dash without a whole."""
    if not whole:
        return "–"
    # Whole tenths of a percent, half up, so that no binary fraction comes in.
    tenths = (2000 * part + whole) // (2 * whole)
    return formatting.percent(f"{tenths // 1000}.{tenths % 1000:03d}", language, 1)


def _few(parts: list[Part]) -> list[Part]:
    if len(parts) <= MOST:
        return parts
    kept = [one for one in parts if not one.deducted]
    deducted = [one for one in parts if one.deducted]
    head = deducted[: MOST - len(kept) - 1]
    rest = sum(one.cents for one in deducted[len(head) :])
    return [*head, Part(_("Other uses"), rest, deducted=True), *kept]


def _place(cents: int, total: int) -> int:
    return WIDTH * cents // total


def _look(number: int, *, deducted: bool) -> tuple[str, str]:
    if deducted:
        return FILLS[number % len(FILLS)], f'stroke="{GRID}" stroke-width="1"'
    return GRID, f'stroke="{LESS}" stroke-width="1.5" stroke-dasharray="4 3"'


def _text(x: int, y: int, words: str, anchor: str = "start") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="{INK}">{escape(words)}</text>'


def _short(words: str) -> str:
    return words if len(words) <= 34 else words[:33] + "…"


def _amount(cents: int, language: str) -> str:
    return formatting.money(text_from_cents(cents), language)
