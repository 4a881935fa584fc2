"""The line of the table for a route that is not in it yet, from what the route answers."""

from __future__ import annotations

from tests.access.asking import Cell, Crowd
from tests.access.table import METHODS, Clause, Route

OF_A_HOUSEHOLD = frozenset({"ref", "finding_id"})


def line_for(crowd: Crowd, name: str) -> str:
    """A line to paste, or what to teach the scene first."""
    parts = crowd.parts[name]
    unknown = sorted(parts - set(crowd.scene.places["own"]))
    kind = "household" if parts & OF_A_HOUSEHOLD else "firm" if parts else "none"
    if unknown:
        return (
            f'{name} = "{kind}: GET,HEAD staff"  # first give {", ".join(unknown)} a value'
            " in tests/access/scene.py"
        )
    known = crowd.table.routes.pop(name, None)
    # Asked as a line that takes everything, so that the form is posted at all.
    crowd.table.routes[name] = Route(name, kind, {one: Clause("open", "", "") for one in METHODS})
    try:
        by_group: dict[str, list[str]] = {}
        for method in METHODS:
            kinds = {
                who: crowd.ask(Cell(name, method, who, _home(crowd, who))).kind
                for who in crowd.table.principals
            }
            if "method" not in kinds.values():
                passed = {who for who, one in kinds.items() if one in ("ok", "absent")}
                by_group.setdefault(_group(crowd, passed), []).append(method)
    finally:
        del crowd.table.routes[name]
        if known is not None:
            crowd.table.routes[name] = known
    clauses = "; ".join(f"{','.join(methods)} {group}" for group, methods in by_group.items())
    return f'{name} = "{kind}: {clauses}"'


def _home(crowd: Crowd, who: str) -> str:
    """An object that is there for somebody."""
    seen = crowd.table.sees.get(who, frozenset())
    return next((one for one in ("own", "colleague", "other") if one in seen), "own")


def _group(crowd: Crowd, passed: set[str]) -> str:
    """The group of exactly these people; their names where there is none."""
    for name, people in crowd.table.groups.items():
        if people == passed:
            return name
    return "NEW-GROUP-OF:" + "+".join(sorted(passed))
