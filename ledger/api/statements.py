"""Statements of a household: what is in force, and handing files in."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import PageQuery
from config.api.paging import page_of_rows
from config.problems import BadInput
from ledger.api import shapes
from ledger.core.formats.types import ReadOptions
from ledger.selectors.listing import statements_of
from ledger.services.importing import ImportRequest, import_statements
from planning.api.resource import Creates


class Statements(Creates):
    """A household's statements."""

    part = "statements"
    rights = {
        "GET": ("read:ledger", "evidence.view"),
        "POST": ("write:statement", "statement.import"),
    }
    query = PageQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.StatementRow)})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """The statements in force, by the days they start on."""
        rows = statements_of(self.access, self.household)
        found, cursor = page_of_rows(rows, ("starts", "pk"), self.asked)
        return Response({"items": shapes.StatementRow(found, many=True).data, "next": cursor})

    @extend_schema(
        request=shapes.ImportIn,
        responses={200: shapes.ImportAnswer},
        examples=[
            OpenApiExample(
                "one file, tried only",
                {
                    "files": [{"name": "may.ofx", "content": "T0ZYSEVBREVSOjEwMA=="}],
                    "dry_run": True,
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, ref: str) -> Response:
        """Import."""
        return super().post(request, ref=ref)

    def create(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Import statement files, all or none; the same file again adds nothing."""
        asked = self.body(shapes.ImportIn, request)
        result = import_statements(
            access=self.access,
            request=ImportRequest(
                files=tuple((one["name"], one["content"]) for one in asked["files"]),
                options=ReadOptions(kind=asked.get("kind"), accept_gap=asked["accept_gap"]),
                household=str(self.household.pk),
                account=asked.get("account"),
                dry_run=asked["dry_run"],
                reason=asked["reason"],
            ),
        )
        if result.problems:
            raise BadInput(result.problems)
        told = {"dry_run": asked["dry_run"], "statements": result.answers, "acts": result.acts}
        return Response(told)
