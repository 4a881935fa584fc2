"""Households: a list, and each as its household file."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.paging import page_of_rows
from config.api.problems import ApiProblem
from config.api.tags import names, tag_of
from config.problems import BadInput, Problem
from ledger.api import shapes
from ledger.mapping import household_value
from ledger.selectors.listing import households_in_view
from ledger.services.households import load_household, read_file
from planning.access import NotVisibleError
from planning.api.resource import Resource
from planning.core.household_file import household_to_json

FILE = {"type": "object", "description": "a household file, docs/reference/household-file.md"}


class Households(Resource):
    """The households in view."""

    part = "households"
    rights = {"GET": ("read:household", "household.view")}
    query = shapes.HouseholdsQuery

    @extend_schema(responses={200: shapes.page_shape(shapes.HouseholdRow)})
    def get(self, request: Request) -> Response:  # noqa: ARG002
        """The households in view, by reference."""
        rows = households_in_view(self.access, self.asked)
        found, cursor = page_of_rows(rows, ("ref",), self.asked)
        return Response({"items": shapes.HouseholdRow(found, many=True).data, "next": cursor})


class HouseholdFile(Resource):
    """One household, whole, as its file."""

    part = "households"
    rights = {
        "GET": ("read:household", "books.export"),
        "PUT": ("write:household", "household.edit"),
    }
    household_must_exist = False

    @extend_schema(responses={200: FILE})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """The household file; its ETag is what a PUT names in If-Match."""
        return Response(self._written(ref))

    @extend_schema(request={"application/json": FILE}, responses={200: FILE, 201: FILE})
    def put(self, request: Request, ref: str) -> Response:
        """Load a household file: it is the whole truth about its household.

        `If-Match` names the ETag of what is changed; `If-None-Match: *` makes a
        household that is not there.
        """
        match = request.headers.get("If-Match", "")
        fresh = request.headers.get("If-None-Match", "").strip() == "*"
        if not match and not fresh:
            fault = "neither If-Match nor If-None-Match: * is given"
            remedy = "Read the household first and send its ETag in If-Match"
            raise ApiProblem(428, problems=[Problem("", "If-Match", fault, remedy)])
        _ = request.data
        value = read_file("body", self.raw)
        if value.ref != ref:
            text = f"{value.ref!r} is not the household of this address"
            raise BadInput([Problem("body", "household.ref", text, f"Write {ref}")])
        self._check(ref, match, fresh=fresh)
        loaded = load_household(
            access=self.access, value=value, name=f"{ref}.json", content=self.raw
        )
        written = self._written(str(loaded.household_id))
        response = Response(written, status=201 if loaded.created else 200)
        response["ETag"] = tag_of(written)
        return response

    def _check(self, ref: str, match: str, *, fresh: bool) -> None:
        try:
            self.access.household(ref, lock=True)
        except NotVisibleError:
            if fresh:
                return
            raise
        if fresh or not names(match, tag_of(self._written(ref))):
            raise ApiProblem(412, "Read the household again and send its newest ETag")

    def _written(self, ref: str) -> dict[str, Any]:
        return dict(household_to_json(household_value(self.access.household(ref))))
