"""The list of what is wrong with a statement file, collected before anything stops."""

from __future__ import annotations

from config.problems import BadInput, Problem

MOST = 100


class Faults:
    """Problems of one file, at most `MOST` of them."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.more = 0

    def add(self, line: int, field: str, message: str, remedy: str) -> None:
        """Record a fault at a line (0: the file as a whole) and field ("" for none)."""
        if len(self.problems) >= MOST:
            self.more += 1
            return
        place = f"line {line}" if line else ""
        where = ", ".join(part for part in (place, field) if part)
        self.problems.append(Problem(self.file, where, message, remedy))

    def stop(self) -> BadInput:
        """The exception that carries everything found so far."""
        found = list(self.problems)
        if self.more:
            found.append(
                Problem(self.file, "", f"{self.more} more problems", "Mend those above first")
            )
        return BadInput(found)

    def stop_if_any(self) -> None:
        """Raise BadInput when a fault was recorded."""
        if self.problems:
            raise self.stop()


def shown(text: str) -> str:
    """A short, safe picture of a wrong value for an error message."""
    return repr(text if len(text) <= 40 else text[:37] + "...")
