"""Findings: the list, one with its history, and working through them."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.paging import page_of_rows
from config.api.problems import ApiProblem
from config.problems import BadInput, Problem
from ledger.api import shapes
from ledger.selectors.listing import finding_in_view, findings_in_view
from ledger.services import findings as services
from planning.api.resource import Creates, Resource


class Findings(Resource):
    """Findings of the households in view."""

    part = "findings"
    rights = {"GET": ("read:finding", "finding.view")}
    query = shapes.FindingsQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.FindingRow)})
    def get(self, request: Request) -> Response:  # noqa: ARG002
        """Findings, open and settled, in the order they were first found."""
        rows = findings_in_view(self.access, self.asked)
        found, cursor = page_of_rows(rows, ("recorded_at", "pk"), self.asked)
        return Response({"items": shapes.FindingRow(found, many=True).data, "next": cursor})


class Finding(Resource):
    """One finding."""

    part = "findings"
    rights = {"GET": ("read:finding", "finding.view")}

    @extend_schema(responses={200: shapes.FindingOut})
    def get(self, request: Request, finding_id: UUID) -> Response:  # noqa: ARG002
        """A finding with its evidence, remedy and history."""
        return Response(_finding(self, finding_id))


def _finding(view: Resource, finding_id: UUID) -> dict[str, Any]:
    row, events = finding_in_view(view.access, finding_id)
    listed = shapes.FindingEventOut(events, many=True).data
    return shapes.FindingRow(row).data | {"detail": row.detail, "events": listed}


class FindingActs(Creates):
    """Acts on a finding."""

    part = "findings"
    rights = {"POST": ("write:finding", "finding.work")}

    def look(self, finding_id: UUID) -> None:
        """See that it is in view."""
        finding_in_view(self.access, finding_id)

    @extend_schema(
        request=shapes.ActIn,
        responses={200: shapes.FindingOut},
        examples=[
            OpenApiExample(
                "accepted for a while",
                {"act": "accept", "reason": "The bank corrects it", "until": "2027-01-31"},
                request_only=True,
            ),
            OpenApiExample("a note", {"act": "note", "text": "Asked the bank"}, request_only=True),
        ],
    )
    def post(self, request: Request, finding_id: UUID) -> Response:
        """Act."""
        return super().post(request, finding_id=finding_id)

    def create(self, request: Request, finding_id: UUID) -> Response:
        """See, accept until a day, put back, give to somebody, or note something."""
        asked = self.body(shapes.ActIn, request)
        named: dict[str, Any] = {"access": self.access, "finding_id": finding_id}
        try:
            match asked["act"]:
                case "seen":
                    services.mark_seen(**named)
                case "accept":
                    services.accept(**named, reason=asked["reason"], until=asked["until"])
                case "back":
                    services.put_back(**named)
                case "assign":
                    services.assign(**named, member_id=asked["member"])
                case _:
                    services.add_note(**named, text=asked["text"], form=uuid4())
        except services.SettledFindingError as error:
            raise ApiProblem(409, "The finding has ended meanwhile") from error
        except ValueError as error:
            problem = Problem("", asked["act"], str(error), "Change it and send it again")
            raise BadInput([problem]) from error
        return Response(_finding(self, finding_id))
