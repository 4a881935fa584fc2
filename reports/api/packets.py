"""Packets: the list, issuing one, its state and its bytes; a month's row."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.cache import add_never_cache_headers
from drf_spectacular.utils import OpenApiExample, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import PageQuery, Strict, Text
from config.api.paging import page_of_rows
from config.api.problems import ApiProblem
from ledger.api.shapes import page_shape
from planning.api.resource import Creates, Resource
from reports.models.packets import LANGUAGES, PACKET_STATES
from reports.packets.period import read_quarter
from reports.selectors.household import stored_packet
from reports.selectors.interface import month_row, packets_of
from reports.services.packets import NotClosedError, QuarterlyRequest, request_quarterly


class PacketRow(serializers.Serializer):
    """A packet; its bytes are there once it is stored."""

    id = serializers.UUIDField(source="pk")
    kind = serializers.CharField()
    period = serializers.CharField()
    language = serializers.CharField()
    version = serializers.IntegerField()
    as_of = serializers.DateField()
    state = serializers.ChoiceField(choices=list(PACKET_STATES))
    sha256 = serializers.CharField(source="pdf_sha256")
    name = serializers.CharField(source="file_name")
    recorded_at = serializers.DateTimeField()


class PacketIn(Strict):
    """A quarter, such as 2026-Q3. Without a language the household's."""

    quarter = Text(max_length=7)
    language = serializers.ChoiceField(choices=list(LANGUAGES), required=False)
    as_of = serializers.DateField(required=False)


class Packets(Creates):
    """A household's packets."""

    part = "packets"
    rights = {"GET": ("read:packet", "packet.view"), "POST": ("write:packet", "packet.issue")}
    query = PageQuery

    @extend_schema(responses={200: page_shape(PacketRow)})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """The packets in the order they were issued."""
        rows = packets_of(self.access, self.household)
        found, cursor = page_of_rows(rows, ("recorded_at", "pk"), self.asked)
        return Response({"items": PacketRow(found, many=True).data, "next": cursor})

    @extend_schema(
        request=PacketIn,
        responses={202: PacketRow},
        examples=[OpenApiExample("a quarter", {"quarter": "2026-Q3"}, request_only=True)],
    )
    def post(self, request: Request, ref: str) -> Response:
        """Issue."""
        return super().post(request, ref=ref)

    def create(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Issue a quarter's packet. Equal inputs give the packet on file; a worker draws it."""
        asked = self.body(PacketIn, request)
        wanted = QuarterlyRequest(
            ref=str(self.household.pk),
            quarter=read_quarter(asked["quarter"]),
            language=asked.get("language"),
            as_of=asked.get("as_of"),
        )
        try:
            packet = request_quarterly(access=self.access, request=wanted)
        except NotClosedError as error:
            detail = f"Close these months first: {error}"
            raise ApiProblem(409, detail) from error
        place = reverse("api_packet", args=[self.household.ref, packet.pk])
        return Response(PacketRow(packet).data, status=202, headers={"Location": place})


class OnePacket(Resource):
    """One packet."""

    part = "packets"
    rights = {"GET": ("read:packet", "packet.view")}

    @extend_schema(responses={200: PacketRow})
    def get(self, request: Request, ref: str, packet_id: UUID) -> Response:  # noqa: ARG002
        """How far a packet is."""
        found = packets_of(self.access, self.household).filter(pk=packet_id).first()
        if found is None:
            raise Http404
        return Response(PacketRow(found).data)


class PacketFile(Resource):
    """A packet's bytes."""

    part = "packets"
    rights = {"GET": ("read:packet", "packet.view")}

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, ref: str, packet_id: UUID) -> HttpResponse:  # noqa: ARG002
        """The PDF as issued; 404 until it is stored."""
        found = stored_packet(self.access, str(self.household.pk), packet_id)
        if found is None:
            raise Http404
        response = HttpResponse(bytes(found.pdf), content_type="application/pdf")
        response["Content-Disposition"] = f'attachment; filename="{found.file_name}"'
        response["X-Content-Type-Options"] = "nosniff"
        add_never_cache_headers(response)
        response["Cache-Control"] = "no-store"
        return response


class Month(Resource):
    """One closed month."""

    part = "closes"
    rights = {"GET": ("read:ledger", "month.view")}

    @extend_schema(
        responses={200: {"type": "object", "description": "docs/reference/month-row.md"}}
    )
    def get(self, request: Request, ref: str, month: str) -> Response:  # noqa: ARG002
        """A closed month's row: plan, actual, difference and its causes."""
        found: dict[str, Any] = month_row(self.access, self.household, month)
        return Response(found)
