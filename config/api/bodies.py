"""Reading a body: bounded, UTF-8, every name once, no number that is not exact."""

from __future__ import annotations

import json
from typing import Any

from rest_framework.parsers import BaseParser

from config.api.problems import ApiProblem
from config.problems import Problem

MOST_BYTES = 30 * 1024 * 1024
"""Files of 10 MB in base64, two at most in one request; larger ones one by one."""


class StrictJson(BaseParser):
    """JSON of one object. The bytes stay on the view as `raw`."""

    media_type = "application/json"

    def parse(
        self,
        stream: Any,
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Any = None,
    ) -> dict[str, Any]:
        """The object. Raises ApiProblem: 413 too large, 400 not such JSON."""
        raw = stream.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise ApiProblem(413, f"At most {MOST_BYTES // 1024 // 1024} MB")
        parser_context["view"].raw = raw
        try:
            found = json.loads(
                raw.decode("utf-8"), object_pairs_hook=_each_once, parse_constant=_refuse
            )
            json.dumps(found, ensure_ascii=False).encode("utf-8")
        except (ValueError, RecursionError) as error:
            problem = Problem("", "body", "it is not valid JSON in UTF-8", "Send one JSON object")
            raise ApiProblem(400, problems=[problem]) from error
        if not isinstance(found, dict):
            problem = Problem("", "body", "it is not an object", "Send one JSON object")
            raise ApiProblem(400, problems=[problem])
        return found


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name occurs twice")
    return found


def _refuse(text: str) -> None:
    raise ValueError(f"{text} is no JSON number")
