"""Pages by cursor: stable while rows come and go, because a page starts after a key."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet

from config.api.problems import ApiProblem
from config.problems import Problem


def page_of_rows(
    rows: QuerySet[Any], order: tuple[str, ...], query: dict[str, Any]
) -> tuple[list[Any], str | None]:
    """One page of a queryset in ascending `order`, the last of which is unique; the next cursor.

    Raises ApiProblem 400 for a cursor that is none.
    """
    limit, after = query["limit"], _opened(query.get("cursor"), len(order))
    try:
        if after is not None:
            rows = rows.filter(_behind(order, after))
        found = list(rows.order_by(*order)[: limit + 1])
    except (ValidationError, ValueError, TypeError) as error:
        raise _bad_cursor() from error
    if len(found) <= limit:
        return found, None
    last = found[limit - 1]
    return found[:limit], _closed([_plain(_value(last, name)) for name in order])


def page_of_values(
    values: Iterable[Any], key: Callable[[Any], str], query: dict[str, Any]
) -> tuple[list[Any], str | None]:
    """One page of values by a unique text key, ascending; the next cursor."""
    limit, after = query["limit"], _opened(query.get("cursor"), 1)
    start = "" if after is None else str(after[0])
    found = sorted((one for one in values if after is None or key(one) > start), key=key)
    more = len(found) > limit
    return found[:limit], _closed([key(found[limit - 1])]) if more else None


def _behind(order: tuple[str, ...], after: list[Any]) -> Q:
    """The rows that come after a key, column by column."""
    found = Q()
    for place, name in enumerate(order):
        equal = Q(**dict(zip(order[:place], after[:place], strict=True)))
        found |= equal & Q(**{f"{name}__gt": after[place]})
    return found


def _value(row: Any, name: str) -> Any:
    for part in name.split("__"):
        row = getattr(row, part)
    return row


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _closed(values: list[Any]) -> str:
    text = json.dumps(values, separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _opened(cursor: str | None, length: int) -> list[Any] | None:
    if cursor is None:
        return None
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        found = json.loads(base64.urlsafe_b64decode(padded.encode("ascii")))
    except (binascii.Error, ValueError, RecursionError) as error:
        raise _bad_cursor() from error
    plain = isinstance(found, list) and len(found) == length
    if not plain or not all(isinstance(one, str) and "\x00" not in one for one in found):
        raise _bad_cursor()
    return list(found)


def _bad_cursor() -> ApiProblem:
    problem = Problem("", "cursor", "this is not a cursor", "Use `next` of the page before")
    return ApiProblem(400, problems=[problem])
