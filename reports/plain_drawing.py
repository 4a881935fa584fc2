"""Drawings made of plain SVG here, for pages that must answer while a person types.

The drawing library needs a second to start and a tenth of one for each picture;
these need a millisecond. Same palette, same letters; positions only, no figure
of a table passes through here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import escape

from config.formatting import NO_BREAK, is_french, number
from reports.drawing import GRID, INK, MUTED

WIDTH = 430
_LEFT, _RIGHT = 62, 12
_PANEL = 104
_LETTERS = 12.5
_STEPS = (10, 20, 25, 50)
_MILLION, _THOUSAND = 100_000_000, 100_000


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of a panel: whole numbers (cents, or hundredths of a percent) by month."""

    values: Sequence[int]
    colour: str
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: where it ends, what stands at its end, full or outlined."""

    value: int
    words: str
    colour: str
    outlined: bool = False


def short_money(cents: int, language: str) -> str:
    """An amount for an axis: $400k, $1.2M; 400 k$, 1,2 M$ in French."""
    size = abs(cents)
    if size >= _MILLION:
        unit, letter = _MILLION, "M"
    else:
        unit, letter = (_THOUSAND, "k") if size >= _THOUSAND else (100, "")
    tenths = 0 if size % unit == 0 else 1
    text = number(f"{cents / unit:.2f}", language, tenths)
    if is_french(language):
        return f"{text}{NO_BREAK}{letter}$"
    return text.replace(text.lstrip("\u2212"), f"${text.lstrip(chr(0x2212))}{letter}")


def ticks(low: int, high: int, count: int = 4) -> list[int]:
    """Round values from at or below `low` to at or above `high`, about `count` steps."""
    span = max(1, high - low)
    unit = 1
    while True:
        for step in _STEPS:
            size = max(1, step * unit // 10)
            if span <= size * count:
                first = low // size * size
                last = -(-high // size) * size
                return list(range(first, max(last, first + size) + 1, size))
        unit *= 10


def panels(
    parts: Sequence[tuple[str, Sequence[Curve]]],
    months: Sequence[str],
    language: str,
    *,
    percent: bool = False,
) -> str:
    """Line charts over one another, one for each (title, curves), sharing their months."""
    height = _PANEL + 52
    drawn = [
        _panel(title, curves, months, language, index * height, percent=percent)
        for index, (title, curves) in enumerate(parts)
    ]
    return _svg("".join(drawn), height * len(parts))


def _panel(
    title: str,
    curves: Sequence[Curve],
    months: Sequence[str],
    language: str,
    top: int,
    *,
    percent: bool,
) -> str:
    values = [value for curve in curves for value in curve.values]
    axis = [0, 2500, 5000, 7500, 10000] if percent else ticks(0, max(values, default=0))
    up = top + 26
    right = WIDTH - _RIGHT

    def x(index: int) -> str:
        return f"{_LEFT + (right - _LEFT) * index / max(1, len(months) - 1):.1f}"

    def y(value: int) -> str:
        return f"{up + _PANEL - _PANEL * (value - axis[0]) / (axis[-1] - axis[0]):.1f}"

    parts = [_text(title, 0, top + 14, INK, weight=600)]
    for value in axis:
        words = f"{value // 100}{NO_BREAK if is_french(language) else ''}%"
        parts.append(_line(_LEFT, y(value), right, y(value), GRID))
        label = words if percent else short_money(value, language)
        parts.append(_text(label, _LEFT - 8, float(y(value)) + 4, MUTED, anchor="end"))
    for index in _year_marks(months):
        parts.append(_line(x(index), up + _PANEL, x(index), up + _PANEL + 4, MUTED))
        parts.append(_text(months[index][:4], float(x(index)), up + _PANEL + 18, MUTED, "middle"))
    for curve in curves:
        points = " ".join(f"{x(index)},{y(value)}" for index, value in enumerate(curve.values))
        dash = ' stroke-dasharray="5 4"' if curve.dashed else ""
        width = "1.6" if curve.dashed else "2.2"
        parts.append(
            f'<polyline points="{points}" fill="none" stroke="{curve.colour}"'
            f' stroke-width="{width}" stroke-linejoin="round"{dash}/>'
        )
    return "".join(parts)


def _year_marks(months: Sequence[str]) -> list[int]:
    """Januaries, thinned out to at most six."""
    found = [index for index, month in enumerate(months) if month.endswith("-01")]
    stride = -(-len(found) // 6) or 1
    return found[::stride]


def bars(groups: Sequence[tuple[str, Sequence[Bar]]]) -> str:
    """Horizontal bars from a common zero, grouped under their titles, each with its words."""
    values = [bar.value for _, each in groups for bar in each]
    low, high = min(0, *values), max(0, *values)
    below, above = (112 if low < 0 else 4), (112 if high > 0 else 4)
    scale = (WIDTH - below - above) / max(1, high - low)
    zero = below - low * scale
    parts: list[str] = []
    at = 0
    for title, each in groups:
        parts.append(_text(title, 0, at + 14, INK))
        at += 22
        first = at - 2
        for bar in each:
            parts.append(_bar(bar, zero, scale, at))
            at += 22
        parts.append(_line(f"{zero:.1f}", first, f"{zero:.1f}", at - 4, MUTED))
        at += 8
    return _svg("".join(parts), at)


def _bar(bar: Bar, zero: float, scale: float, at: int) -> str:
    start, end = sorted((zero, zero + bar.value * scale))
    fill = (
        f'fill="none" stroke="{bar.colour}" stroke-width="1.6" stroke-dasharray="4 3"'
        if bar.outlined
        else f'fill="{bar.colour}"'
    )
    shape = (
        f'<rect x="{start:.1f}" y="{at}" width="{max(1.0, end - start):.1f}" height="16" {fill}/>'
    )
    if bar.value < 0:
        return shape + _text(bar.words, start - 6, at + 13, INK, "end")
    return shape + _text(bar.words, end + 6, at + 13, INK)


def _svg(inner: str, height: int) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}"'
        f' font-family="IBM Plex Sans" font-size="{_LETTERS}">{inner}</svg>'
    )


def _line(x1: object, y1: object, x2: object, y2: object, colour: str) -> str:
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{colour}"/>'


def _text(
    words: str, x: float, y: float, colour: str, anchor: str = "start", weight: int = 400
) -> str:
    heavy = f' font-weight="{weight}"' if weight != 400 else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}"{heavy}>'
        f"{escape(words)}</text>"
    )
