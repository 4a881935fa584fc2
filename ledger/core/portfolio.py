"""What an investment account is worth by its statements."""

from __future__ import annotations

from datetime import date

from planning.core.types import Statement


def latest_ended(statements: tuple[Statement, ...], as_of: date) -> Statement | None:
    """The latest statement that had ended by a day; statements come in date order."""
    ended = [one for one in statements if one.ends <= as_of]
    return ended[-1] if ended else None


def value_of(statement: Statement) -> int:
    """Market value by a statement, in cents: its value, else its closing balance."""
    return statement.closing_cents if statement.value_cents is None else statement.value_cents


def value_on(statements: tuple[Statement, ...], day: date) -> int:
    """Value by the latest statement ended by a day; before the first, its opening; in cents."""
    latest = latest_ended(statements, day)
    if latest is not None:
        return value_of(latest)
    return statements[0].opening_cents if statements else 0
