"""Draws, what they were used for, and the papers behind that."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils.cache import add_never_cache_headers
from drf_spectacular.utils import OpenApiExample, OpenApiTypes, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import PageQuery
from config.api.paging import page_of_rows, page_of_values
from config.api.problems import ApiProblem
from config.problems import BadInput, Problem
from ledger.api import shapes
from ledger.selectors.listing import papers_of
from ledger.selectors.uses import draw_to_decide, draws_on_file, paper_with_bytes
from ledger.services.papers import attach_evidence
from ledger.services.uses import DecidedMeanwhileError, decide_use
from planning.api.resource import Creates, Resource
from planning.core.types import Evidence, Split


class Draws(Resource):
    """A household's draws."""

    part = "uses"
    rights = {"GET": ("read:ledger", "evidence.view")}
    query = PageQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.DrawRow)})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Every draw, fee, opening and adjustment of the lines, by id."""
        _, draws = draws_on_file(self.access, str(self.household.pk))
        found, cursor = page_of_values(draws, lambda one: str(one.traced.id), self.asked)
        return Response({"items": shapes.DrawRow(found, many=True).data, "next": cursor})


class Draw(Resource):
    """One draw."""

    part = "uses"
    rights = {"GET": ("read:ledger", "evidence.view")}

    @extend_schema(responses={200: shapes.DrawOut})
    def get(self, request: Request, ref: str, entry: str) -> Response:  # noqa: ARG002
        """A draw with its decisions, newest first, and papers."""
        return Response(_draw(self, entry))


def _draw(view: Resource, entry: str) -> dict[str, Any]:
    found = draw_to_decide(view.access, str(view.household.pk), entry)
    told = {
        "id": entry,
        "revision": found.revision,
        "decisions": found.decisions,
        "papers": found.papers,
    }
    return dict(shapes.DrawOut(told).data)


class Uses(Creates):
    """Decisions about a draw."""

    part = "uses"
    rights = {"POST": ("write:use", "use.decide")}

    def look(self, entry: str, **_named: Any) -> None:
        """See that the household has such a draw."""
        draw_to_decide(self.access, str(self.household.pk), entry)

    @extend_schema(
        request=shapes.UseIn,
        responses={200: shapes.DrawOut},
        examples=[
            OpenApiExample(
                "all of it invested",
                {
                    "splits": [
                        {
                            "amount": "828.68",
                            "use": "income-investment",
                            "to": "inv",
                            "evidence": [{"id": "confirm-march"}],
                        }
                    ],
                    "reason": "the confirmation came",
                    "seen": 1,
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, ref: str, entry: str) -> Response:
        """Decide."""
        return super().post(request, ref=ref, entry=entry)

    def create(self, request: Request, ref: str, entry: str) -> Response:  # noqa: ARG002
        """Record what a draw was used for; closes from its month on are done again."""
        asked = self.body(shapes.UseIn, request)
        try:
            decide_use(
                access=self.access,
                ref=str(self.household.pk),
                draw=entry,
                splits=tuple(_split(one) for one in asked["splits"]),
                reason=asked["reason"],
                seen=asked["seen"],
            )
        except DecidedMeanwhileError as error:
            raise ApiProblem(409, f"The draw stands at revision {error.revision} now") from error
        except ValueError as error:
            raise BadInput([Problem("", "reason", str(error), "Write a reason")]) from error
        return Response(_draw(self, entry))


def _split(one: dict[str, Any]) -> Split:
    papers = tuple(Evidence(paper["id"], paper["known_on"]) for paper in one.get("evidence", ()))
    return Split(one["amount"], one["use"], one["to"], one["of"], papers)


class Papers(Creates):
    """A household's papers."""

    part = "uses"
    rights = {"GET": ("read:ledger", "evidence.view"), "POST": ("write:use", "evidence.add")}
    query = PageQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.PaperOut)})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """The papers in force, in the order they came."""
        rows = papers_of(self.access, self.household)
        found, cursor = page_of_rows(rows, ("recorded_at", "pk"), self.asked)
        return Response({"items": [_paper(one) for one in found], "next": cursor})

    @extend_schema(request=shapes.PapersIn, responses={201: shapes.PaperOut(many=True)})
    def post(self, request: Request, ref: str) -> Response:
        """Hand in."""
        return super().post(request, ref=ref)

    def create(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Keep papers, all or none; the same paper again changes nothing."""
        asked = self.body(shapes.PapersIn, request)
        papers = attach_evidence(
            access=self.access,
            ref=str(self.household.pk),
            files=[(one["name"], one["content"]) for one in asked["files"]],
            draw=asked["draw"],
            evidence=asked["evidence"],
            reason=asked["reason"],
        )
        return Response([_paper(one) for one in papers], status=201)


def _paper(one: Any) -> dict[str, Any]:
    told = {name: getattr(one.content, name) for name in ("kind", "size", "sha256")}
    told |= {"id": one.pk, "ref": one.ref, "name": one.name, "draw": one.draw}
    return dict(shapes.PaperOut(told).data)


class PaperFile(Resource):
    """A paper's bytes."""

    part = "uses"
    rights = {"GET": ("read:ledger", "evidence.view")}

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def get(self, request: Request, ref: str, paper_id: UUID) -> HttpResponse:  # noqa: ARG002
        """The bytes as handed in."""
        found = paper_with_bytes(self.access, str(self.household.pk), paper_id).content
        response = HttpResponse(bytes(found.content), content_type="application/octet-stream")
        response["Content-Disposition"] = f'attachment; filename="paper-{found.sha256[:12]}"'
        response["X-Content-Type-Options"] = "nosniff"
        add_never_cache_headers(response)
        response["Cache-Control"] = "no-store"
        return response
