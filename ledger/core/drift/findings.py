"""What a drift rule finds: code, key, dollars, severity, life, evidence, remedy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planning.core.money import text_from_cents

Severity = Literal["act", "fix", "paper", "note"]
Life = Literal["state", "month", "fact", "cure"]
"""How long a finding lives.

`state`: while its trigger holds at the close. `month`: only at the close of the
month of the fact. `fact`: from the month of the fact until the file is
corrected. `cure`: from the month of the fact while a line it touched still has
ineligible principal; once closed it does not reopen.
"""
Words = tuple[tuple[str, int | str], ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a remedy: a sentence with named places, and what goes into them.

    A whole number is an amount in cents; text stands as it is. Kept apart so
    that the sentence can be said in another language.
    """

    template: str
    values: Words = ()

    @property
    def text(self) -> str:
        """The step in English, amounts as decimal strings."""
        shown = {
            name: text_from_cents(value) if isinstance(value, int) else value
            for name, value in self.values
        }
        return self.template.format(**shown)


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding at one close.

    `dollars_cents` is never negative. `cost_per_year_cents` is what a further
    year would cost if nothing is done, zero where that is not known. `evidence`
    are statement entry ids (or the ids that the statements imply).
    """

    code: str
    key: str
    dollars_cents: int
    severity: Severity
    life: Life
    evidence: tuple[str, ...] = ()
    remedy: tuple[Step, ...] = ()
    cost_per_year_cents: int = 0

    def __post_init__(self) -> None:
        assert self.dollars_cents >= 0, "dollars are never negative"


def step(template: str, **values: int | str) -> Step:
    """A remedy step; whole numbers are amounts in cents."""
    return Step(template, tuple(values.items()))


def joined(*parts: object) -> str:
    """A finding's key: its parts joined with a colon."""
    return ":".join(str(part) for part in parts)
