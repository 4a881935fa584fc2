"""One person's tax with and without a deduction, and who the token is."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import Money, Strict, Whole
from planning.api.resource import Resource
from planning.core.money import text_from_cents
from planning.core.tax.parameters import JURISDICTIONS
from planning.management.commands.tax import answer

AMOUNTS = {
    "income": "income_cents",
    "interest": "interest_cents",
    "deduction": "deduction_cents",
    "eligible_dividends": "eligible_cents",
    "other_dividends": "other_cents",
    "capital_gain": "gain_cents",
}


class TaxQuestion(Strict):
    """A person's year. Amounts left out are zero."""

    province = serializers.ChoiceField(choices=list(JURISDICTIONS))
    year = Whole(min_value=1990, max_value=2200)
    income = Money()
    interest = Money(required=False)
    deduction = Money(required=False)
    eligible_dividends = Money(required=False)
    other_dividends = Money(required=False)
    capital_gain = Money(required=False)
    quebec_limit = serializers.BooleanField(required=False, default=True)
    low_income_reductions = serializers.BooleanField(required=False, default=False)
    minimum_tax = serializers.BooleanField(required=False, default=False)


class TaxParts(serializers.Serializer):
    """A tax by its parts, dollars and cents."""

    federal = serializers.CharField()
    abatement = serializers.CharField()
    provincial = serializers.CharField()
    surtax = serializers.CharField()
    health_premium = serializers.CharField()
    total = serializers.CharField()


class TaxAnswer(serializers.Serializer):
    """The tax before and after the deduction; marginal rates as fractions in four places."""

    before = TaxParts()
    after = TaxParts()
    saving = serializers.CharField()
    marginal = serializers.DictField(child=serializers.CharField())
    minimum_tax = serializers.DictField(required=False)


class Tax(Resource):
    """A computation: nothing is kept, so it takes no key."""

    part = "tax"
    rights = {"POST": ("read:plan", "tax.compute")}

    @extend_schema(
        request=TaxQuestion,
        responses={200: TaxAnswer},
        examples=[
            OpenApiExample(
                "a year",
                {"province": "ON", "year": 2026, "income": "128000.00", "deduction": "6400.00"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request) -> Response:
        """Tax of one person for one year, before and after a deduction of interest."""
        asked = self.body(TaxQuestion, request)
        options: dict[str, Any] = {
            "province": asked["province"],
            "year": asked["year"],
            "quebec_limit": "on" if asked["quebec_limit"] else "off",
            "low_income_reductions": asked["low_income_reductions"],
            "minimum_tax": asked["minimum_tax"],
        }
        for name, option in AMOUNTS.items():
            cents = asked.get(name)
            options[option] = None if cents is None else text_from_cents(cents)
        return Response(answer(options))


class TokenAnswer(serializers.Serializer):
    """A token and whose it is."""

    name = serializers.CharField()
    member = serializers.UUIDField()
    role = serializers.CharField()
    scopes = serializers.ListField(child=serializers.CharField())
    expires_at = serializers.DateTimeField()


class Me(Resource):
    """The token itself."""

    part = "token"
    rights = {"GET": ("", "token.own")}

    @extend_schema(responses={200: TokenAnswer})
    def get(self, request: Request) -> Response:  # noqa: ARG002
        """Whose token this is, what it may do and until when."""
        token = self.standing.token
        told = {
            "name": token.name,
            "member": token.membership_id,
            "role": self.access.role,
            "scopes": token.scopes,
            "expires_at": token.expires_at,
        }
        return Response(TokenAnswer(told).data)
