"""The interface's description: as OpenAPI for programs, and as a page for people."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.problems import KINDS
from planning.api.resource import Resource
from planning.api.scopes import SCOPES
from reports.views.guard import needs

METHODS = ("get", "post", "put")


@cache
def description() -> dict[str, Any]:
    """The description, made once a process: it depends on nothing but the code."""
    found: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return found


class OpenApi(Resource):
    """The description for programs: any living token may read it."""

    schema = None
    rights = {"GET": ("", "token.own")}

    def get(self, request: Request) -> Response:  # noqa: ARG002
        """OpenAPI 3.1."""
        return Response(description())


_by_token = OpenApi.as_view()


@login_not_required
@csrf_exempt
@transaction.non_atomic_requests
@require_safe
def openapi(request: HttpRequest) -> Any:
    """The description, for whoever is signed in or brings a token."""
    if getattr(request, "access", None) is not None:
        return HttpResponse(JSONRenderer().render(description()), content_type="application/json")
    return _by_token(request)


@require_safe
@needs("token.own")
def docs(request: HttpRequest) -> HttpResponse:
    """The same as a page, without any script."""
    found = description()
    context = {
        "parts": _parts(found),
        "shapes": _shapes(found["components"]["schemas"]),
        "errors": [(status, *words) for status, words in KINDS.items()],
        "scopes": SCOPES,
        "here": "api",
    }
    return render(request, "reports/api/docs.html", context)


def _shapes(found: dict[str, Any]) -> list[dict[str, Any]]:
    """Every shape with its fields."""
    return [
        {
            "name": name,
            "text": one.get("description", ""),
            "fields": [
                (field, kind, field in one.get("required", ()))
                for field, kind in one.get("properties", {}).items()
            ],
        }
        for name, one in sorted(found.items())
    ]


def _parts(found: dict[str, Any]) -> list[tuple[str, list[dict[str, Any]]]]:
    """The operations by part."""
    parts: dict[str, list[dict[str, Any]]] = {}
    for path, operations in found["paths"].items():
        for method in METHODS:
            if method in operations:
                one = operations[method]
                shown = {
                    "path": path,
                    "method": method.upper(),
                    "text": one.get("description", ""),
                    "parameters": one.get("parameters", []),
                    "takes": _shape(one.get("requestBody", {}).get("content", {})),
                    "gives": [
                        (status, _shape(answer.get("content", {})))
                        for status, answer in one["responses"].items()
                        if status.startswith("2")
                    ],
                    "errors": [status for status in one["responses"] if status[0] in "45"],
                }
                parts.setdefault(one["tags"][0], []).append(shown)
    return sorted(parts.items())


def _shape(content: dict[str, Any]) -> str:
    """The name of the shape a body has; its media type when it is bytes."""
    for media, one in content.items():
        schema = one.get("schema", {})
        schema = schema.get("items", schema)
        return str(schema.get("$ref", media)).rpartition("/")[2] if "$ref" in schema else media
    return ""
