"""Closing months, and how far closes and other background work are."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import PageQuery
from config.api.paging import page_of_rows, page_of_values
from ledger.api import shapes
from ledger.selectors.listing import jobs_in_view, months_of
from ledger.selectors.runs import closes
from ledger.services.closing.requesting import request_close
from planning.api.resource import Creates, Resource

ASKED = extend_schema(
    request=shapes.CloseIn,
    responses={202: shapes.CloseAnswer},
    examples=[
        OpenApiExample("a quarter", {"month": "2026-09", "first": "2026-07"}, request_only=True)
    ],
)


class Closes(Creates):
    """The firm's closes."""

    part = "closes"
    rights = {"GET": ("read:ledger", "job.view"), "POST": ("write:close", "month.close")}
    query = PageQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.CloseRow)})
    def get(self, request: Request) -> Response:  # noqa: ARG002
        """Every month's close with its counts, the earliest first."""
        found, cursor = page_of_values(closes(), lambda one: one.month, self.asked)
        return Response({"items": shapes.CloseRow(found, many=True).data, "next": cursor})

    @ASKED
    def post(self, request: Request) -> Response:
        """Ask."""
        return super().post(request)

    def create(self, request: Request) -> Response:
        """Close months of the whole firm; for its principal. The work is done by workers."""
        asked = self.body(shapes.CloseIn, request)
        answer = request_close(access=self.access, month=asked["month"], first=asked["first"])
        return Response(shapes.CloseAnswer({"months": answer.items}).data, status=202)


class HouseholdCloses(Creates):
    """Closes of one household."""

    part = "closes"
    rights = {"POST": ("write:close", "month.close")}

    @ASKED
    def post(self, request: Request, ref: str) -> Response:
        """Ask."""
        return super().post(request, ref=ref)

    def create(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Close months of a household. The work is done by workers; read its months for the end."""
        asked = self.body(shapes.CloseIn, request)
        answer = request_close(
            access=self.access,
            month=asked["month"],
            first=asked["first"],
            ref=str(self.household.pk),
        )
        return Response(shapes.CloseAnswer({"months": answer.items}).data, status=202)


class Months(Resource):
    """A household's months."""

    part = "closes"
    rights = {"GET": ("read:ledger", "month.view")}
    query = PageQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.MonthRow)})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """The months with their state, the earliest first."""
        rows = months_of(self.access, self.household)
        found, cursor = page_of_rows(rows, ("month", "pk"), self.asked)
        return Response({"items": shapes.MonthRow(found, many=True).data, "next": cursor})


class Runs(Resource):
    """The firm's background work."""

    part = "runs"
    rights = {"GET": ("read:ledger", "job.view")}
    query = PageQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.RunRow)})
    def get(self, request: Request) -> Response:  # noqa: ARG002
        """Background work in the order it was asked for."""
        rows = jobs_in_view(self.access)
        found, cursor = page_of_rows(rows, ("recorded_at", "pk"), self.asked)
        return Response({"items": shapes.RunRow(found, many=True).data, "next": cursor})
