"""What a check says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = Literal["fault", "note"]


@dataclass(frozen=True, slots=True)
class CheckFinding:
    """One thing a check found: a fault, or a note about something that is visibly so.

    `firm` and `household` are empty for what concerns the database itself.
    """

    check: str
    level: Level
    firm: str
    household: str
    where: str
    message: str

    def as_dict(self) -> dict[str, str]:
        """The finding as a JSON object."""
        return {name: str(getattr(self, name)) for name in self.__dataclass_fields__}

    def __str__(self) -> str:
        place = ": ".join(part for part in (self.firm, self.household, self.where) if part)
        return f"{self.level}: {self.check}: {place}: {self.message}"
