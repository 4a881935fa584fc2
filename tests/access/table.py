"""The table of who may ask what, read from matrix.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

TABLE = Path(__file__).with_name("matrix.toml")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
OBJECTS = {
    "household": ("own", "colleague", "unassigned", "former", "other", "deleted", "random"),
    "firm": ("own", "other", "deleted", "random"),
    "none": ("own",),
}
# Much work where it is allowed: done for one person and one object; all refusals are asked.
COSTLY = {"propose": ("advisor", "own")}
SOME = ("anonymous", "unfactored", "former", "principal", "client", "stranger")
ANSWERS = ("ok", "login", "factor", "refused", "absent", "method")


@dataclass(frozen=True)
class Clause:
    """What one method of a route answers to the group it is for."""

    group: str
    answer: str
    form: str


@dataclass(frozen=True)
class Route:
    """One line of the table."""

    name: str
    object: str
    methods: dict[str, Clause]

    def objects(self, method: str, parts: frozenset[str]) -> tuple[str, ...]:
        """The objects to ask for; "mixed" is a household of one's own and a stranger's part."""
        if method not in self.methods:
            return ("own",)  # refused before any object is looked at
        if method == "HEAD":  # the same view as GET, without its body
            return tuple(one for one in ("own", "other") if one in OBJECTS[self.object])
        mixed = ("mixed",) if self.object == "household" and "ref" in parts else ()
        foreign = parts & {"packet_id", "paper_id", "entry", "draw"}
        return OBJECTS[self.object] + (mixed if foreign else ())


@dataclass(frozen=True)
class Table:
    """The whole table."""

    outside: dict[str, str]
    groups: dict[str, frozenset[str]]
    sees: dict[str, frozenset[str]]
    routes: dict[str, Route]

    @property
    def principals(self) -> tuple[str, ...]:
        """Everybody who asks."""
        return (*self.outside, *self.sees)

    def askers(self, route: Route, method: str, target: str) -> tuple[str, ...]:
        """Who asks: everybody, where it can matter.

        A method that is not taken is tried by one of each kind. Who stands outside is
        turned away before any object is looked at, so they try two; where a route is
        open to them they try all.
        """
        if method not in route.methods:
            return SOME
        if target in ("own", "other") or "anonymous" in self.groups[route.methods[method].group]:
            return self.principals
        return tuple(self.sees)

    def expected(self, route: Route, method: str, who: str, target: str) -> str:
        """The answer that `who` must get. One of ANSWERS."""
        clause = route.methods.get(method)
        if clause is None:
            anybody = any(who in self.groups[one.group] for one in route.methods.values())
            kept_out = self.outside.get(who, "refused")
            return "method" if anybody or kept_out == "refused" else kept_out
        if who not in self.groups[clause.group]:
            return self.outside.get(who, "refused")
        if target in ("deleted", "random", "mixed"):
            return "absent"
        if route.object == "household" and target not in self.sees[who]:
            return "absent"
        if route.object == "firm" and "anonymous" not in self.groups[clause.group]:
            home = "other" if who == "stranger" else "own"
            if target != home:
                return "absent"
        return clause.answer


def read_route(name: str, line: str) -> Route:
    """One line of [routes]. Raises ValueError with the line when it cannot be read."""
    kind, _, rest = line.partition(":")
    methods: dict[str, Clause] = {}
    for part in rest.split(";"):
        words = part.split()
        if kind not in OBJECTS or not 2 <= len(words) <= 3:
            raise ValueError(f'{name} = "{line}"')
        group, _, answer = words[1].partition("->")
        clause = Clause(group, answer or "ok", words[2] if len(words) == 3 else "")
        methods |= dict.fromkeys(words[0].split(","), clause)
    if not set(methods) <= set(METHODS):
        raise ValueError(f'{name} = "{line}"')
    return Route(name, kind, methods)


def read_table() -> Table:
    """The table from its file."""
    raw = tomllib.loads(TABLE.read_text("utf-8"))

    def sets(section: str) -> dict[str, frozenset[str]]:
        return {name: frozenset(words.split()) for name, words in raw[section].items()}

    routes = {name: read_route(name, line) for name, line in raw["routes"].items()}
    return Table(raw["outside"], sets("groups"), sets("sees"), routes)
