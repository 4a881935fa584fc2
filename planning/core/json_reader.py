"""Read JSON strictly: every key known, every value of its type, all faults at once.

A `Node` is a JSON value with its path. Its getters return the value or record
a `Problem` and return a harmless placeholder, so that one pass finds everything
that is wrong. The caller checks `faults` before it believes any value.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from config.problems import BadInput, Problem
from planning.core.money import cents_from_text, rate_from_text

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_REF = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}\Z")
MAX_BYTES = 50_000_000
NO_DATE = date(1, 1, 1)


class Faults:
    """The problems found so far in one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Problem] = []

    def add(self, where: str, message: str, remedy: str) -> None:
        """Record one problem at a path of the document."""
        self.found.append(Problem(self.file, where, message, remedy))

    def stop_if_any(self) -> None:
        """Raise BadInput with every problem found, if there is one."""
        if self.found:
            raise BadInput(self.found)


def load_json(text: str, file: str) -> object:
    """Parse JSON text. Raises BadInput naming line and column, or a repeated key."""
    faults = Faults(file)
    if len(text) > MAX_BYTES:
        faults.add("", f"the file is larger than {MAX_BYTES} characters", "Split the file")
        faults.stop_if_any()

    def pairs(items: list[tuple[str, object]]) -> dict[str, object]:
        seen: dict[str, object] = {}
        for key, value in items:
            if key in seen:
                faults.add(key, f"the key {key!r} is given twice in one object", "Keep one of them")
            seen[key] = value
        return seen

    def constant(name: str) -> object:
        faults.add("", f"{name} is not a number JSON knows", "Write a decimal string")
        return None

    try:
        data = json.loads(text, object_pairs_hook=pairs, parse_constant=constant)
    except json.JSONDecodeError as error:
        faults.add(
            f"line {error.lineno}, column {error.colno}",
            f"this is not JSON: {error.msg}",
            "Mend the text at that place; the file may have been cut short",
        )
    except RecursionError:
        faults.add("", "the JSON is nested too deeply", "Use the household file's own shape")
    except ValueError as error:
        faults.add("", f"this is not JSON: {error}", "Use plain numbers and strings")
    faults.stop_if_any()
    return data


def show(value: object) -> str:
    """A short, safe picture of a wrong value for an error message."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


class Node:
    """A JSON value, its path and the list its faults go to."""

    def __init__(self, value: object, path: str, faults: Faults) -> None:
        self.value = value
        self.path = path
        self.faults = faults

    def fault(self, message: str, remedy: str) -> None:
        """Record a problem at this place."""
        self.faults.add(self.path, message, remedy)

    # -- objects and arrays -------------------------------------------------

    def keys(self, required: Iterable[str], optional: Iterable[str] = ()) -> bool:
        """Check that this is an object with all required and no unknown keys."""
        if not isinstance(self.value, dict):
            self.fault(f"expected an object, found {show(self.value)}", "Write { ... }")
            return False
        needed = list(required)
        known = {*needed, *optional}
        for key in self.value:
            if key not in known:
                where = f"{self.path}.{key}" if self.path else str(key)
                self.faults.add(
                    where,
                    f"unknown key {key!r}",
                    f"Remove it; known here: {', '.join(sorted(known))}",
                )
        for key in needed:
            if key not in self.value:
                where = f"{self.path}.{key}" if self.path else key
                self.faults.add(where, "this key is missing", "Add it")
        return True

    def has(self, key: str) -> bool:
        """Whether the key is there with a value other than null."""
        return isinstance(self.value, dict) and self.value.get(key) is not None

    def get(self, key: str) -> Node:
        """The child under a key; an absent one reads as null."""
        child = self.value.get(key) if isinstance(self.value, dict) else None
        return Node(child, f"{self.path}.{key}" if self.path else key, self.faults)

    def items(self) -> Iterator[tuple[str, Node]]:
        """The children of an object by key, for objects used as tables."""
        if isinstance(self.value, dict):
            for key in self.value:
                yield str(key), self.get(str(key))
        elif self.value is not None:
            self.fault(f"expected an object, found {show(self.value)}", "Write { ... }")

    def each(self) -> Iterator[Node]:
        """The children of an array; null reads as empty."""
        if isinstance(self.value, list):
            for index, child in enumerate(self.value):
                yield Node(child, f"{self.path}[{index}]", self.faults)
        elif self.value is not None:
            self.fault(f"expected a list, found {show(self.value)}", "Write [ ... ]")

    # -- scalars --------------------------------------------------------------

    @property
    def absent(self) -> bool:
        """Whether the value is null or was not given."""
        return self.value is None

    def text(self, limit: int = 200) -> str:
        """A non-empty string without control characters."""
        if not isinstance(self.value, str) or not self.value.strip():
            self.fault(f"expected text, found {show(self.value)}", "Write a non-empty string")
            return ""
        if len(self.value) > limit or any(ord(one) < 32 for one in self.value):
            self.fault(
                "the text is too long or holds control characters",
                f"Keep to {limit} plain characters",
            )
            return ""
        return self.value

    def ref(self) -> str:
        """A reference: letters, digits, dot, hyphen, underscore."""
        if not isinstance(self.value, str) or not _REF.match(self.value):
            self.fault(
                f"{show(self.value)} is not a reference",
                "Use 1 to 64 letters, digits, dots, hyphens or underscores",
            )
            return ""
        return self.value

    def entry_id(self) -> str:
        """An entry id: any printable text up to 120 characters."""
        return self.text(120)

    def choice(self, known: tuple[str, ...]) -> str:
        """One of the listed words."""
        if not isinstance(self.value, str) or self.value not in known:
            self.fault(f"{show(self.value)} is not known here", f"Use one of: {', '.join(known)}")
            return known[0]
        return self.value

    def whole(self, low: int, high: int) -> int:
        """A whole number between two bounds, both included."""
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            self.fault(
                f"expected a whole number, found {show(self.value)}", "Write it without quotes"
            )
            return low
        if not low <= self.value <= high:
            self.fault(f"{self.value} is out of range", f"Use {low} to {high}")
            return low
        return self.value

    def day(self) -> date:
        """A date "YYYY-MM-DD"."""
        if isinstance(self.value, str) and _DATE.match(self.value):
            try:
                found = date.fromisoformat(self.value)
            except ValueError:
                pass
            else:
                if 1900 <= found.year <= 2200:
                    return found
        self.fault(f"{show(self.value)} is not a date", 'Write "YYYY-MM-DD"')
        return NO_DATE

    def cents(self, low: int = 0) -> int:
        """An amount as a decimal string, in cents, at least `low`."""
        if not isinstance(self.value, str):
            self.fault(
                f"expected an amount, found {show(self.value)}",
                'Write a decimal string with two places, such as "1204.37"',
            )
            return low
        try:
            found = cents_from_text(self.value)
        except ValueError:
            self.fault(
                f"{show(self.value)} is not an amount",
                'Write a decimal string with two places, such as "1204.37"',
            )
            return low
        if found < low:
            self.fault(
                f"{self.value} is too small",
                "Amounts here are zero or more" if low == 0 else "Use a positive amount",
            )
            return low
        return found

    def rate(self, low: str, high: str) -> Decimal:
        """A decimal fraction as a string between two bounds, both included."""
        if not isinstance(self.value, str):
            self.fault(
                f"expected a rate, found {show(self.value)}",
                'Write a decimal fraction as a string: 5.45 % is "0.0545"',
            )
            return Decimal(low)
        try:
            found = rate_from_text(self.value)
        except ValueError:
            self.fault(
                f"{show(self.value)} is not a rate",
                'Write a decimal fraction as a string: 5.45 % is "0.0545"',
            )
            return Decimal(low)
        if not Decimal(low) <= found <= Decimal(high):
            self.fault(f"{self.value} is out of range", f"Use {low} to {high}; 5.45 % is 0.0545")
            return Decimal(low)
        return found
