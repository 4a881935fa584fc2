"""A household's plan: its versions, trying a change, keeping a new version."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from django.http import Http404
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from config.api.fields import Money, PageQuery, Strict, Text, Whole
from config.api.paging import page_of_values
from config.api.problems import ApiProblem
from ledger.api.shapes import page_shape
from ledger.services.plans import keep_plan
from planning.api.resource import Creates, Resource
from planning.core.json_reader import Faults, Node
from planning.core.plan_file import plan_to_json, read_plan
from planning.core.plan_outcome import Outcome, PlanFigures, differences
from planning.core.whatif import Change
from planning.selectors.plan_versions import VersionRow, plan_versions
from planning.services.plan_versions import NotTheNewestError
from reports.selectors.interface import what_if

PLAN = {"type": "object", "description": "the `plan` of a household file"}
NOT_MONEY = ("conversion", "mortgage_ends")
AMOUNTS = tuple(one.name for one in fields(PlanFigures) if one.name not in NOT_MONEY)


class PlanVersionRow(serializers.Serializer):
    """A version of the plan."""

    number = serializers.IntegerField()
    recorded_at = serializers.DateTimeField()
    by = serializers.CharField()
    reason = serializers.CharField()
    digest = serializers.CharField()


class PlanVersionOut(PlanVersionRow):
    """A version with the plan itself; null when the household had none from then on."""

    plan = serializers.DictField(allow_null=True)


class PlanIn(Strict):
    """A new version: the whole plan, why, and the version it rests on (0 for none)."""

    plan = serializers.DictField()
    reason = Text(max_length=500)
    based_on = Whole(min_value=0, max_value=10**6)


class SavedOut(serializers.Serializer):
    """The version in force; written is false when the plan was so already."""

    number = serializers.IntegerField()
    written = serializers.BooleanField()


def _rate(text: str) -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=8, decimal_places=6, required=False, help_text=f"{text}, as a fraction in text"
    )


class ChangeIn(Strict):
    """What is tried. What is left out stays as it is."""

    since = serializers.DateField(required=False, help_text="the day changed rates take hold")
    mortgage = Text(required=False, max_length=64, help_text="the first one when left out")
    rate_now = _rate("the mortgage's rate")
    rate_at_renewal = _rate("the mortgage's rate from the next renewal")
    prime_shift = _rate("added to prime")
    growth = _rate("growth of investments")
    total_yield = _rate("yield of investments")
    share = _rate("the part re-borrowed")
    once = Money(required=False, help_text="one extra prepayment")
    once_on = serializers.DateField(required=False)
    yearly = Money(required=False, help_text="an extra prepayment every year")
    yearly_from = serializers.DateField(required=False)
    refund = serializers.ChoiceField(choices=("prepay", "invest", "keep"), required=False)


FiguresOut: type[serializers.Serializer] = type(
    "FiguresOut",
    (serializers.Serializer,),
    {
        "__doc__": "What a plan comes to.",
        "conversion": serializers.CharField(allow_null=True, help_text="month, or null for never"),
        "mortgage_ends": serializers.DateField(allow_null=True),
        **{name: Money() for name in AMOUNTS},
    },
)
DifferencesOut: type[serializers.Serializer] = type(
    "DifferencesOut",
    (serializers.Serializer,),
    {"__doc__": "How much more after.", **{name: Money(required=False) for name in AMOUNTS}},
)


class CaseOut(serializers.Serializer):
    """Net worth after tax at the horizon under one case."""

    name = serializers.CharField()
    plan = Money()
    ordinary = Money()
    prepayments = Money()


class OutcomeOut(serializers.Serializer):
    """A plan played out: its figures, and the loss cases beside the base case."""

    figures = FiguresOut()
    cases = CaseOut(many=True)


class WhatIfOut(serializers.Serializer):
    """The plan in force, the changed one, and what the change makes of it."""

    before = OutcomeOut()
    after = OutcomeOut()
    differences = DifferencesOut()


class PlanVersions(Creates):
    """The versions of a household's plan."""

    part = "plan"
    rights = {"GET": ("read:plan", "plan.view"), "POST": ("write:plan", "plan.edit")}
    query = PageQuery

    @extend_schema(responses={200: page_shape(PlanVersionRow)})
    def get(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """The versions, the first one first; the last one is in force."""
        rows = plan_versions(self.access, self.household.pk)
        found, cursor = page_of_values(rows, lambda one: f"{one.number:09d}", self.asked)
        return Response({"items": PlanVersionRow(found, many=True).data, "next": cursor})

    @extend_schema(request=PlanIn, responses={201: SavedOut})
    def post(self, request: Request, ref: str) -> Response:
        """Save."""
        return super().post(request, ref=ref)

    def create(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Keep a plan as the next version, in force at once; closed months are looked at again."""
        asked = self.body(PlanIn, request)
        faults = Faults("body")
        plan = read_plan(Node(asked["plan"], "plan", faults))
        faults.stop_if_any()
        try:
            saved = keep_plan(
                access=self.access,
                ref=str(self.household.pk),
                plan=plan,
                reason=asked["reason"],
                based_on=asked["based_on"],
            )
        except NotTheNewestError as error:
            raise ApiProblem(409, problems=error.problems) from error
        return Response(SavedOut(saved).data, status=201)


class PlanVersion(Resource):
    """One version of a plan."""

    part = "plan"
    rights = {"GET": ("read:plan", "plan.view")}

    @extend_schema(responses={200: PlanVersionOut})
    def get(self, request: Request, ref: str, number: int) -> Response:  # noqa: ARG002
        """A version with the plan itself."""
        rows: tuple[VersionRow, ...] = plan_versions(self.access, self.household.pk)
        for one in rows:
            if one.number == number:
                plan = plan_to_json(one.plan) if one.plan else None
                return Response(PlanVersionRow(one).data | {"plan": plan})
        raise Http404


class WhatIf(Resource):
    """Trying a change: nothing is kept, so it takes no key."""

    part = "plan"
    rights = {"POST": ("read:plan", "plan.view")}

    @extend_schema(
        request=ChangeIn,
        responses={200: WhatIfOut},
        examples=[
            OpenApiExample(
                "dearer money, one prepayment",
                {"prime_shift": "0.01", "once": "5000.00"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, ref: str) -> Response:  # noqa: ARG002
        """Play the plan with a change beside the plan in force, loss cases included."""
        asked = self.body(ChangeIn, request)
        named = {
            {"once": "once_cents", "yearly": "yearly_cents"}.get(k, k): v for k, v in asked.items()
        }
        before, after = what_if(self.access, str(self.household.pk), Change(**named))
        gained = differences(before.figures, after.figures)
        told: dict[str, Any] = {
            "before": _outcome(before),
            "after": _outcome(after),
            "differences": {name: gained[name] for name in AMOUNTS if name in gained},
        }
        return Response(
            {
                "before": OutcomeOut(told["before"]).data,
                "after": OutcomeOut(told["after"]).data,
                "differences": DifferencesOut(told["differences"]).data,
            }
        )


def _outcome(one: Outcome) -> dict[str, Any]:
    return {"figures": one.figures, "cases": one.cases}
