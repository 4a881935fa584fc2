"""Between the set-up forms and the household file they build.

What is typed becomes the file's own value where it can be read; what cannot is
kept as typed, so that the file's reader refuses it in its own words beside the
field. A row is removed when its box is ticked; a new row left empty is none.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from planning.core.money import cents_from_text, rate_from_text, text_from_cents
from reports.plan_form import Reader
from reports.setup_fields import LINES, MEMBERS, STEPS, Field, Group, Step

_WHOLE = re.compile(r"-?[0-9]{1,6}\Z")
Json = dict[str, Any]


def step_named(name: str) -> Step | None:
    """The step of an address; None when there is none."""
    return next((one for one in STEPS if one.name == name), None)


def applied(step: Step, content: Json, query: Any) -> Json:
    """The draft with what a step's form says."""
    after = copy.deepcopy(content)
    for group in step.groups:
        held = after.get(group.path)
        if group.many:
            after[group.path] = _rows(group, group.path, _listed(held), query, after)
        else:
            row = dict(held) if isinstance(held, dict) else {}
            after[group.path] = _row(group, group.path, row, query, after)
    if step.name == "line":
        _openings_used(after)
    if step.name == "plan":
        _tidy_plan(after)
    return after


def _listed(held: Any) -> list[Json]:
    """A list's rows as objects; the pairs of a rate series by their places."""
    return [
        {str(at): value for at, value in enumerate(one)} if isinstance(one, list) else dict(one)
        for one in held or ()
    ]


def _rows(group: Group, path: str, held: list[Json], query: Any, content: Json) -> list[Any]:
    found: list[Any] = []
    count = max(len(held), _count(path, query))
    for at in range(min(count, group.most)):
        before = held[at] if at < len(held) else {}
        row = _row(group, f"{path}[{at}]", before, query, content)
        gone = query.get(f"{path}[{at}].@remove") == "1"
        if gone or (not before and _blank(group, row, f"{path}[{at}]", query)):
            _forget(row, content)
            continue
        if group.stem and not row.get("ref"):
            taken = [*(one.get("ref") for one in held), *(one.get("ref") for one in found)]
            row["ref"] = _free(group.stem, taken)
        if "@balance" in row:
            _open(content, row["ref"], row.pop("@balance"))
        if group.path == "prime":
            found.append([row.get("0", ""), row.get("1", "")])
        else:
            found.append(row)
    return found


def _row(group: Group, path: str, held: Json, query: Any, content: Json) -> Json:
    row = copy.deepcopy(held)
    for field in group.fields:
        name = f"{path}.{field.key}"
        if field.kind == "ref" and held.get("ref"):
            continue
        value = (
            query.getlist(name)[:12]
            if field.kind == "people"
            else _read(field, name, Reader(query))
        )
        if field.key == "@balance":
            row[field.key] = value
        else:
            _put(row, field.key, value)
    if group.inner is not None:
        inner = f"{path}.{group.inner.path}"
        kept = held.get(group.inner.path) or []
        row[group.inner.path] = _rows(group.inner, inner, kept, query, content)
    return row


def _read(field: Field, name: str, reader: Reader) -> Any:
    """The file's value of a field; as typed when it cannot be read, None when empty."""
    text = reader.text(name)
    if not text:
        return None
    if field.kind == "money":
        cents = reader.cents(name)
        return text if cents is None else text_from_cents(cents)
    if field.kind == "percent":
        rate = reader.fraction(name)
        return text if rate is None else f"{rate.normalize() + Decimal(0):f}"
    if field.kind == "whole":
        return int(text) if _WHOLE.match(text) else text
    if field.key == "day_basis":
        return 365 if text == "365" else text
    if field.key == "evidence":
        return [text]
    return text


def _put(row: Json, key: str, value: Any) -> None:
    """Set a dotted key; None removes it."""
    head, dot, rest = key.partition(".")
    if dot:
        child = row.get(head)
        child = child if isinstance(child, dict) else {}
        _put(child, rest, value)
        row[head] = child
    elif value is None:
        row.pop(key, None)
    else:
        row[key] = value


def _count(path: str, query: Mapping[str, Any]) -> int:
    pattern = re.compile(re.escape(path) + r"\[([0-9]{1,3})\]\.")
    found = [int(match[1]) for name in query if (match := pattern.match(name))]
    return max(found, default=-1) + 1


def _blank(group: Group, row: Json, path: str, query: Any) -> bool:
    """Whether nothing was typed or ticked; choices and what a new row starts with say nothing."""
    for field in group.fields:
        if field.kind == "people" and query.getlist(f"{path}.{field.key}"):
            return False
        text = str(query.get(f"{path}.{field.key}", "")).strip()
        if field.kind not in ("choice", "people", "account", "ref") and (
            text and text != shown(field, field.default)
        ):
            return False
    return not (group.inner is not None and row.get(group.inner.path))


def _free(stem: str, taken: list[Any]) -> str:
    names = (f"{stem}{number}" if number else stem for number in range(stem == "m", 1000))
    return next(one for one in names if one not in taken)


def _open(content: Json, ref: str, value: Any) -> None:
    plan = content["plan"] = content.get("plan") or {}
    opening = plan["opening"] = dict(plan.get("opening") or {})
    if value is None:
        opening.pop(ref, None)
    else:
        opening[ref] = value


def _forget(row: Json, content: Json) -> None:
    """A removed account takes its opening balance along."""
    if row.get("ref") and isinstance(content.get("plan"), dict):
        opening = content["plan"].get("opening")
        if isinstance(opening, dict):
            opening.pop(row["ref"], None)


def _openings_used(content: Json) -> None:
    """The uses of opening balances, typed beside their lines, as rows of `uses`."""
    uses = []
    for line in content["lines"]:
        splits = line.pop("@opening", [])
        if splits:
            uses.append({"draw": f"{line['ref']}-opening", "splits": splits})
    content["uses"] = uses


def _tidy_plan(content: Json) -> None:
    """A plan without tax rates or without re-borrowing says so by leaving them out."""
    plan = content["plan"]
    if not plan.get("marginal"):
        plan.pop("marginal", None)
    reborrow = plan.get("reborrow") or {}
    if not reborrow.get("line") and not reborrow.get("into"):
        plan.pop("reborrow", None)
    plan.setdefault("opening", {})


# -- what a page shows --------------------------------------------------------------


def shown(field: Field, value: Any) -> str:
    """A value of the file as a person types it."""
    if value is None:
        return ""
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    if field.kind == "percent" and isinstance(value, str):
        try:
            rate = rate_from_text(value).scaleb(2).normalize()
        except ValueError:
            return value
        return f"{rate + Decimal(0):f}"
    if field.kind == "money" and isinstance(value, str):
        try:
            return text_from_cents(cents_from_text(value))
        except ValueError:
            return value
    return str(value)


def value_at(row: Any, key: str) -> Any:
    """The value under a dotted key; None where there is none."""
    for part in key.split("."):
        row = row.get(part) if isinstance(row, dict) else None
    return row


def field_of(where: str, content: Json) -> str:
    """The form's name for a place that a reader names."""
    if match := re.match(r"plan\.opening\.(.+)\Z", where):
        for key in ("mortgages", "lines", "investments"):
            for at, one in enumerate(content.get(key) or ()):
                if isinstance(one, dict) and one.get("ref") == match[1]:
                    return f"{key}[{at}].@balance"
    if match := re.match(r"uses\[([0-9]+)\]\.splits\[([0-9]+)\]\.?(\w*)", where):
        uses = content.get("uses") or []
        at = int(match[1])
        draw = uses[at].get("draw") if at < len(uses) else ""
        for place, one in enumerate(content.get("lines") or ()):
            if draw == f"{one.get('ref')}-opening":
                return f"lines[{place}].@opening[{match[2]}].{match[3] or 'amount'}"
    if match := re.match(r"prime\[([0-9]+)\]\[([01])\]", where):
        return f"prime[{match[1]}].{match[2]}"
    return where


def step_of(field: str) -> str:
    """The step whose form holds a field."""
    for step in STEPS:
        for group in step.groups:
            if field == group.path or field.startswith((f"{group.path}.", f"{group.path}[")):
                return step.name
    return "line" if field.startswith("uses") else "review"


def people(content: Json) -> list[tuple[str, str]]:
    """Reference and name of the members, for lists to choose from."""
    return [
        (str(one.get("ref", "")), str(one.get("name") or one.get("ref", "")))
        for one in content.get(MEMBERS.path) or ()
    ]


def accounts(content: Json, *keys: str) -> Iterator[tuple[str, str]]:
    """References of the accounts of the named lists."""
    for key in keys or ("investments", LINES.path):
        for one in content.get(key) or ():
            yield str(one.get("ref", "")), str(one.get("ref", ""))
