"""What is wrong with an input, said so that a person can mend it.

Bad input never raises on the first fault. Readers collect every `Problem`
and raise one `BadInput` that carries them all, so nothing is half-written and
the person mends the file once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in an input.

    `file` is the name the person gave ("-" for standard input), `where` the
    line ("line 14") or the path inside the document ("statements[3].entries[0].amount"),
    `message` what is wrong and `remedy` what to do about it.
    """

    file: str
    where: str
    message: str
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}: {self.where}" if self.where else self.file
        return f"{place}: {self.message}. {self.remedy}"

    def as_dict(self) -> dict[str, str]:
        """The problem as a JSON object, for `--json` output."""
        return {
            "file": self.file,
            "where": self.where,
            "message": self.message,
            "remedy": self.remedy,
        }


class BadInput(Exception):  # noqa: N818 - names the condition; every command maps it to exit 2
    """An input that cannot be taken, with every problem found in it."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        assert self.problems, "BadInput needs at least one problem"
        super().__init__("\n".join(str(problem) for problem in self.problems))
