"""A small, size-bounded reader of OFX markup, SGML (1.x) and XML (2.x) alike.

It knows elements, text, comments and the five entities, nothing else. A
document type or entity declaration is refused at sight, depth stops at 64, and
unknown elements are kept in the tree for the reader to skip.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass, field

from ledger.core.formats.faults import Faults

MOST_DEPTH = 64
MOST_ELEMENTS = 100_000
MOST_MARKS = 200_000
MOST_TEXT = 1_000
_MARK = re.compile(
    r"<(?P<close>/?)(?P<name>[A-Za-z][A-Za-z0-9._-]{0,40})(?:\s[^<>]{0,200})?(?P<empty>/?)>"
    r"|(?P<special><!--|<!\[CDATA\[|<\?|<![A-Za-z])"
)
_ENTITY = re.compile(r"&(amp|lt|gt|quot|apos);")
_FIVE = {"amp": "&", "lt": "<", "gt": ">", "quot": '"', "apos": "'"}

AGGREGATES = frozenset(
    (
        "OFX",
        "SIGNONMSGSRSV1",
        "SONRS",
        "STATUS",
        "FI",
        "BANKMSGSRSV1",
        "STMTTRNRS",
        "STMTRS",
        "BANKACCTFROM",
        "BANKTRANLIST",
        "STMTTRN",
        "LEDGERBAL",
        "AVAILBAL",
        "BALLIST",
        "BAL",
        "CREDITCARDMSGSRSV1",
        "CCSTMTTRNRS",
        "CCSTMTRS",
        "CCACCTFROM",
        "LOANMSGSRSV1",
        "LOANSTMTTRNRS",
        "LOANSTMTRS",
        "LOANACCTFROM",
        "LOANTRANLIST",
        "LOANSTMTTRN",
        "LOANTRNAMT",
        "PRINBAL",
        "INVSTMTMSGSRSV1",
        "INVSTMTTRNRS",
        "INVSTMTRS",
        "INVACCTFROM",
        "INVTRANLIST",
        "INVBANKTRAN",
        "INVTRAN",
        "INVBUY",
        "INVSELL",
        "INVPOSLIST",
        "INVPOS",
        "INVBAL",
        "SECLIST",
    )
)
"""Elements that must be closed; any other unclosed element is an empty SGML leaf."""


@dataclass(slots=True)
class Element:
    """An element with its text (leaf) or its children (aggregate) and its line."""

    name: str
    line: int
    text: str = ""
    children: list[Element] = field(default_factory=list)

    def all(self, *names: str) -> list[Element]:
        """The children with one of the names, in order."""
        return [one for one in self.children if one.name in names]

    def first(self, *names: str) -> Element | None:
        """The first child with one of the names."""
        return next((one for one in self.children if one.name in names), None)

    def value(self, *names: str) -> str:
        """The text of the first child with one of the names; "" when there is none."""
        found = self.first(*names)
        return found.text if found else ""


def read_markup(text: str, faults: Faults) -> Element:
    """The tree under a nameless root. Raises BadInput when the text is cut or hostile."""
    reader = _Reader(text, faults)
    reader.run()
    faults.stop_if_any()
    return reader.root


def unescape(text: str) -> str:
    """Replace the five entities; any other ampersand stands for itself."""
    return _ENTITY.sub(lambda match: _FIVE[match.group(1)], text)


class _Reader:
    def __init__(self, text: str, faults: Faults) -> None:
        self.text = text
        self.faults = faults
        self.starts = [0, *(match.end() for match in re.finditer("\n", text))]
        self.root = Element("", 0)
        self.stack = [self.root]
        self.count = 0
        self.marks = 0
        self.opened: Counter[str] = Counter()

    def line(self, position: int) -> int:
        return bisect_right(self.starts, position)

    def refuse(self, position: int, message: str, remedy: str) -> None:
        self.faults.add(self.line(position), "", message, remedy)
        raise self.faults.stop()

    def too_many(self, position: int) -> None:
        self.refuse(position, "the file holds too many elements", "Export a shorter period")

    def run(self) -> None:
        position = 0
        while match := _MARK.search(self.text, position):
            self.words(self.text[position : match.start()], position)
            self.marks += 1
            if self.marks > MOST_MARKS:
                self.too_many(match.start())
            special = match.group("special")
            if special:
                position = self.skip(special, match.start())
                continue
            name = match.group("name").upper()
            if match.group("close"):
                self.close(name)
            else:
                self.open(name, match.start())
                if match.group("empty"):
                    self.close(name)
            position = match.end()
        self.words(self.text[position:], position)
        self.finish()

    def skip(self, special: str, start: int) -> int:
        """Pass over a comment, an instruction or CDATA; refuse declarations."""
        if special not in ("<!--", "<![CDATA[", "<?"):
            self.refuse(
                start,
                "the file declares a document type or entities",
                "Statements need none: remove the declaration or export the file again",
            )
        ending = {"<!--": "-->", "<![CDATA[": "]]>", "<?": "?>"}[special]
        end = self.text.find(ending, start + len(special))
        if end < 0:
            self.refuse(
                start, f"{special} is never closed", "The file was cut short: export it again"
            )
        if special == "<![CDATA[":
            self.put(self.text[start + len(special) : end], start)
        return end + len(ending)

    def words(self, raw: str, position: int) -> None:
        if raw and not raw.isspace():
            self.put(unescape(raw), position)

    def put(self, text: str, position: int) -> None:
        top = self.stack[-1]
        if top is self.root or top.children or top.name in AGGREGATES:
            return  # the header before <OFX>, or stray text between elements
        top.text = f"{top.text}{text}" if top.text else text.strip()
        if len(top.text) > MOST_TEXT:
            self.faults.add(
                self.line(position),
                top.name,
                f"the text is longer than {MOST_TEXT} characters",
                "Export the file again; it is damaged",
            )
            raise self.faults.stop()

    def open(self, name: str, position: int) -> None:
        top = self.stack[-1]
        if top.text:
            self.pop()
            top = self.stack[-1]
        self.count += 1
        if self.count > MOST_ELEMENTS:
            self.too_many(position)
        if len(self.stack) > MOST_DEPTH:
            self.refuse(
                position,
                f"elements are nested more than {MOST_DEPTH} deep",
                "This is not the shape of a statement: export the file again",
            )
        element = Element(name, self.line(position))
        top.children.append(element)
        self.stack.append(element)
        self.opened[name] += 1

    def close(self, name: str) -> None:
        if not self.opened[name]:
            return  # the end tag of a leaf already ended, or one never opened
        while self.stack[-1].name != name:
            self.unclosed(self.stack[-1])
            self.pop()
        self.pop()

    def unclosed(self, element: Element) -> None:
        """An element without end tag: a leaf in SGML, a fault for an aggregate."""
        if element.name in AGGREGATES:
            self.faults.add(
                element.line,
                element.name,
                f"<{element.name}> is never closed",
                "The file was cut short or damaged: export it again",
            )
        elif element.children:
            parent = self.stack[-2]
            parent.children.extend(element.children)
            element.children = []

    def pop(self) -> None:
        done = self.stack.pop()
        self.opened[done.name] -= 1
        done.text = done.text.strip()

    def finish(self) -> None:
        inside = [one for one in self.stack if one.name in AGGREGATES]
        if inside:
            last = inside[-1].name
            self.faults.add(
                self.line(len(self.text)),
                last,
                f"the file ends inside <{last}> (opened on line {inside[-1].line})",
                "The file was cut short: export it again",
            )
        while len(self.stack) > 1:
            if self.stack[-1].name not in AGGREGATES:
                self.unclosed(self.stack[-1])
            self.pop()
        if self.root.first("OFX") is None:
            self.faults.add(
                0, "OFX", "there is no <OFX> element", "Export the statement as OFX or QFX again"
            )
