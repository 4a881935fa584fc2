"""Errors as `application/problem+json` (RFC 9457): one shape for everything that goes wrong."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.signals import got_request_exception
from django.http import Http404
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from config.problems import BadInput, Problem

log = logging.getLogger("django.request")

# Status to name and title. Names are anchors of the documentation page.
KINDS: dict[int, tuple[str, str]] = {
    400: ("malformed", "The request cannot be read"),
    401: ("not-authenticated", "No valid token was given"),
    403: ("not-allowed", "The token or its owner may not do this"),
    404: ("not-found", "There is nothing here for you"),
    405: ("method", "This address does not take the method"),
    406: ("not-acceptable", "The answer cannot be given in the form asked for"),
    409: ("conflict", "Something else stands in the way"),
    412: ("changed-meanwhile", "The resource is not in the state you name"),
    413: ("too-large", "The request is too large"),
    415: ("media-type", "The body is not of a kind that is read here"),
    422: ("refused", "The content cannot be taken"),
    428: ("condition-missing", "Say which state you want to change"),
    429: ("too-often", "Too many requests"),
    500: ("fault", "The server failed"),
}


class ProblemRenderer(JSONRenderer):
    """JSON under the media type of problems."""

    media_type = "application/problem+json"


class ApiProblem(Exception):  # noqa: N818 - becomes an answer, not a crash
    """An answer with a status, its words and the problems found."""

    def __init__(
        self,
        status: int,
        detail: str = "",
        problems: Iterable[Problem] = (),
        headers: dict[str, str] | None = None,
    ) -> None:
        assert status in KINDS, "every status has its name"
        self.status = status
        self.detail = detail
        self.problems = tuple(problems)
        self.headers = headers or {}
        super().__init__(detail)


def problem_of(error: Exception, request: Any) -> ApiProblem:
    """The problem that an exception means to whoever asked."""
    if isinstance(error, ApiProblem):
        return error
    if isinstance(error, BadInput):
        return ApiProblem(422, problems=error.problems)
    if isinstance(error, Http404 | exceptions.NotFound):
        return ApiProblem(404)
    if isinstance(error, PermissionDenied | exceptions.PermissionDenied):
        return ApiProblem(403)
    if isinstance(error, exceptions.ValidationError):
        return ApiProblem(422, problems=_listed(error.detail))
    if isinstance(error, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return ApiProblem(401, headers={"WWW-Authenticate": "Bearer"})
    if isinstance(error, exceptions.Throttled):
        return ApiProblem(429, headers={"Retry-After": str(int(error.wait or 60))})
    if isinstance(error, exceptions.APIException) and error.status_code in KINDS:
        return ApiProblem(error.status_code)
    got_request_exception.send(sender=None, request=request)
    log.error("the interface failed", exc_info=error)
    return ApiProblem(500)


def answer_of(problem: ApiProblem) -> Response:
    """The response that carries a problem."""
    name, title = KINDS[problem.status]
    body: dict[str, Any] = {
        "type": f"/api/v1/docs/#problem-{name}",
        "title": title,
        "status": problem.status,
        "problems": [_shown(one) for one in problem.problems],
    }
    if problem.detail:
        body["detail"] = problem.detail
    response = Response(body, status=problem.status, headers=problem.headers)
    response.content_type = ProblemRenderer.media_type
    return response


def _shown(one: Problem) -> dict[str, str]:
    """Place, message and remedy; the name of a file given stands before the place in it."""
    place = ": ".join(part for part in (one.file, one.where) if part)
    return {"place": place, "message": one.message, "remedy": one.remedy}


def _listed(detail: Any, place: str = "") -> list[Problem]:
    """The faults a serializer found, each with its path in the body."""
    if isinstance(detail, dict):
        found: list[Problem] = []
        for key, part in detail.items():
            name = "" if key == "non_field_errors" else str(key)
            step = f"{place}[{key}]" if isinstance(key, int) else ""
            inner = step or ".".join(one for one in (place, name) if one)
            found += _listed(part, inner)
        return found
    if isinstance(detail, list | tuple):
        found = []
        for index, part in enumerate(detail):
            nested = isinstance(part, dict | list)
            found += _listed(part, f"{place}[{index}]" if nested else place)
        return found
    message = str(detail).rstrip(".")
    return [Problem("", place, message, "See the description of this field")]
