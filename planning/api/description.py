"""The interface's own description (OpenAPI 3.1): queries, keys, and errors said once."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from config.api.problems import KINDS
from planning.api.resource import Creates, Resource

PROBLEM = "#/components/schemas/Problem"
ALWAYS = (400, 401, 403, 404, 405, 429, 500)
PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "problems"],
    "properties": {
        "type": {"type": "string", "description": "where the kind of error is explained"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "problems": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["place", "message", "remedy"],
                "properties": {
                    "place": {"type": "string", "description": "path in the body, or parameter"},
                    "message": {"type": "string"},
                    "remedy": {"type": "string"},
                },
            },
        },
    },
}


class Token(OpenApiAuthenticationExtension):
    """How a request says whose it is."""

    target_class = "planning.api.authentication.TokenOfMember"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:  # noqa: ARG002
        """A bearer token."""
        return {"type": "http", "scheme": "bearer", "bearerFormat": "tow_ and 64 characters"}


class Description(AutoSchema):
    """Adds what every resource has: its query, its scope, its headers."""

    def get_operation_id(self) -> str:
        """The view's name and the method: `findings_get`."""
        name = type(self.view).__name__
        words = "".join(f"_{one.lower()}" if one.isupper() else one for one in name)
        return f"{words.strip('_')}_{self.method.lower()}"

    def get_tags(self) -> list[str]:
        """The part of the interface."""
        return [getattr(self.view, "part", "other")]

    def get_description(self) -> str:
        """The method's words, and the scope it needs."""
        told = super().get_description()
        view = self.view
        method = getattr(view, "create" if self.method == "POST" else self.method.lower(), None)
        own = (getattr(method, "__doc__", "") or "").strip()
        scope = view.rights.get(self.method, ("", ""))[0] if isinstance(view, Resource) else ""
        return "\n\n".join(
            one for one in (own or told, f"Scope: `{scope}`." if scope else "") if one
        )

    def get_override_parameters(self) -> list[Any]:
        """Query and headers."""
        found: list[Any] = list(super().get_override_parameters())
        if isinstance(self.view, Resource) and self.method == "GET" and self.view.query().fields:
            found.append(self.view.query)
        if isinstance(self.view, Creates) and self.method == "POST":
            found.append(_header("Idempotency-Key", "a new random value for every act", need=True))
        if self.method == "PUT":
            found.append(_header("If-Match", "the ETag of what you change"))
            found.append(_header("If-None-Match", "* to make what is not there"))
        return found


def _header(name: str, text: str, *, need: bool = False) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=need, description=text)


def with_errors(result: dict[str, Any], generator: Any, **_more: Any) -> dict[str, Any]:  # noqa: ARG001
    """Every operation's errors, as references to one description each."""
    parts = result.setdefault("components", {})
    parts.setdefault("schemas", {})["Problem"] = PROBLEM_SCHEMA
    parts["responses"] = {
        f"Problem{status}": _response(status, name, title)
        for status, (name, title) in KINDS.items()
    }
    for path, operations in result["paths"].items():
        for method, one in operations.items():
            for status in (*ALWAYS, *_more_of(method, path)):
                wanted = {"$ref": f"#/components/responses/Problem{status}"}
                one["responses"].setdefault(str(status), wanted)
            if method == "get" and "200" in one["responses"]:
                one["responses"].setdefault("304", {"description": "Not changed"})
    return result


def _more_of(method: str, _path: str) -> tuple[int, ...]:
    if method == "post":
        return (409, 413, 415, 422)
    if method == "put":
        return (409, 412, 413, 415, 422, 428)
    return (406, 409)


def _response(status: int, name: str, title: str) -> dict[str, Any]:
    example = {
        "type": f"/api/v1/docs/#problem-{name}",
        "title": title,
        "status": status,
        "problems": [],
    }
    if status in (400, 422):
        example["problems"] = [
            {
                "place": "splits[0].amount",
                "message": "this is no amount",
                "remedy": 'Write dollars and two decimals as text, such as "1250.00"',
            }
        ]
    return {
        "description": title,
        "content": {"application/problem+json": {"schema": {"$ref": PROBLEM}, "example": example}},
    }
