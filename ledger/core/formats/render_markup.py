"""Writers of OFX markup: SGML with open leaves, XML with closed ones."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol


class Writer(Protocol):
    """What the renderer needs of a writer of markup."""

    def leaf(self, name: str, value: str) -> None:
        """Write an element with text; an empty text writes nothing."""

    def inside(self, name: str) -> AbstractContextManager[None]:
        """Write an aggregate around what is written inside."""

    def text(self) -> str:
        """Everything written."""
        raise NotImplementedError


class _Base:
    def __init__(self) -> None:
        self.lines: list[str] = []
        self.depth = 0

    @contextmanager
    def inside(self, name: str) -> Iterator[None]:
        self.put(f"<{name}>")
        self.depth += 1
        yield
        self.depth -= 1
        self.put(f"</{name}>")

    def put(self, line: str) -> None:
        raise NotImplementedError

    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def escaped(value: str) -> str:
    """Text with the three characters of markup written as entities."""
    return value.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


class Sgml(_Base):
    """OFX 1.x: leaves are not closed."""

    def put(self, line: str) -> None:
        self.lines.append(line)

    def leaf(self, name: str, value: str) -> None:
        if value:
            self.put(f"<{name}>{escaped(value)}")


class Xml(_Base):
    """OFX 2.x: every element is closed, indented for reading."""

    def put(self, line: str) -> None:
        self.lines.append("  " * self.depth + line)

    def leaf(self, name: str, value: str) -> None:
        if value:
            self.put(f"<{name}>{escaped(value)}</{name}>")
