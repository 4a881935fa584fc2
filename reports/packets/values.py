"""Reading a household report (format "towpath/report") without trusting its shape."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from planning.core.money import cents_from_text, text_from_cents

Json = Mapping[str, Any]
SEVERITIES: tuple[str, ...] = ("act", "fix", "paper", "note")


def digest_of(*parts: object) -> str:
    """SHA-256 (hex) of the parts as canonical JSON: same inputs, same digest."""
    text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def cents_in(row: Json, key: str) -> int:
    """An amount of a report row in cents; a key that is not there counts as zero."""
    value = row.get(key)
    return 0 if value is None else cents_from_text(str(value))


def total(rows: Iterable[Json], key: str) -> str:
    """The sum of one key over rows, as a decimal string."""
    return text_from_cents(sum(cents_in(row, key) for row in rows))


def minus(left: str, right: str) -> str:
    """`left - right` of two decimal strings."""
    return text_from_cents(cents_from_text(left) - cents_from_text(right))


def plan_rows(report: Json) -> dict[str, Json]:
    """The plan's month rows by month; empty without a plan."""
    return {str(row["month"]): row for row in report.get("plan") or ()}


def month_rows(report: Json) -> dict[str, Json]:
    """The closed months by month."""
    return {str(row["month"]): row for row in report.get("months") or ()}


def severity_rank(finding: Json) -> int:
    """0 for the most urgent; an unknown severity comes last."""
    name = str(finding.get("severity"))
    return SEVERITIES.index(name) if name in SEVERITIES else len(SEVERITIES)
