"""Calendar quarters: reading them and the months in them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from config.problems import BadInput, Problem
from planning.core.months import first_day, last_day, months_between

_QUARTER = re.compile(r"([0-9]{4})-?[Qq]([1-4])\Z")


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    """A quarter of a calendar year, `number` 1 to 4."""

    year: int
    number: int

    @property
    def label(self) -> str:
        """How commands and file names write it: "2026-Q3"."""
        return f"{self.year:04d}-Q{self.number}"

    @property
    def months(self) -> tuple[str, ...]:
        """Its three months, "2026-07" to "2026-09"."""
        first = 3 * (self.number - 1) + 1
        return months_between(f"{self.year:04d}-{first:02d}", f"{self.year:04d}-{first + 2:02d}")

    @property
    def starts(self) -> date:
        """Its first day."""
        return first_day(self.months[0])

    @property
    def ends(self) -> date:
        """Its last day."""
        return last_day(self.months[-1])

    @property
    def following(self) -> Quarter:
        """The next quarter."""
        if self.number == 4:
            return Quarter(self.year + 1, 1)
        return Quarter(self.year, self.number + 1)


def read_quarter(text: str) -> Quarter:
    """Read "2026-Q3". Raises BadInput with a remedy for anything else."""
    found = _QUARTER.match(text)
    if found is None or int(found[1]) < 1900:
        raise BadInput(
            [
                Problem(
                    "-",
                    "quarter",
                    f"{text!r} is not a quarter",
                    "Write the year and the quarter as in 2026-Q3",
                )
            ]
        )
    return Quarter(int(found[1]), int(found[2]))
