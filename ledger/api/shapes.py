"""The shapes of what the ledger's resources answer and take."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from config.api.fields import Bytes, Money, Month, MonthOf, PageQuery, Query, Strict, Text, Whole
from ledger.core.finding_changes import EVENT_KINDS, FINDING_STATES, SEVERITIES
from planning.core.household_parts import PROVINCES
from planning.core.types import CLASSES, USES

KINDS = ("mortgage", "line", "investment")


class ProblemShape(serializers.Serializer):
    """What is wrong with a file."""

    file = serializers.CharField()
    where = serializers.CharField()
    message = serializers.CharField()
    remedy = serializers.CharField()


class HouseholdsQuery(PageQuery):
    """Which households."""

    province = serializers.ChoiceField(choices=list(PROVINCES), required=False)
    advisor = Text(required=False, max_length=254, help_text="the advisor's address")
    q = Text(required=False, max_length=100, help_text="a part of the reference or name")


class HouseholdRow(serializers.Serializer):
    """A household in a list."""

    id = serializers.UUIDField(source="pk")
    ref = serializers.CharField()
    name = serializers.CharField()
    province = serializers.CharField()
    language = serializers.CharField()
    advisor = serializers.CharField(source="advisor.user.email", default=None, allow_null=True)


class StatementRow(serializers.Serializer):
    """A statement in force."""

    id = serializers.UUIDField(source="pk")
    account = serializers.CharField(source="account.ref")
    kind = serializers.CharField(source="account.kind")
    starts = serializers.DateField()
    ends = serializers.DateField()
    opening = Money(source="opening_cents")
    closing = Money(source="closing_cents")
    limit = Money(source="limit_cents", allow_null=True)
    value = Money(source="value_cents", allow_null=True)
    revision = serializers.IntegerField()
    file = serializers.CharField(source="source_file.name", default=None, allow_null=True)
    recorded_at = serializers.DateTimeField()


class FileIn(Strict):
    """A file: a name for messages, and its bytes."""

    name = Text(max_length=120)
    content = Bytes()


class ImportIn(Strict):
    """Statement files of a household. Without an account each file finds its own."""

    files = FileIn(many=True, min_length=1, max_length=20)
    account = Text(required=False, max_length=64)
    kind = serializers.ChoiceField(choices=KINDS, required=False)
    accept_gap = serializers.BooleanField(required=False, default=False)
    dry_run = serializers.BooleanField(
        required=False, default=False, help_text="do everything, and undo it"
    )
    reason = Text(required=False, default="", allow_blank=True, max_length=500)


class ImportedStatement(serializers.Serializer):
    """What a file says and what became of it."""

    file = serializers.CharField()
    format = serializers.CharField(allow_null=True)
    account = serializers.CharField(allow_null=True)
    currency = serializers.CharField(allow_null=True)
    kind = serializers.CharField(allow_null=True)
    entries = serializers.ListField(child=serializers.DictField())
    opening = serializers.CharField(allow_null=True)
    closing = serializers.CharField(allow_null=True)
    imported = serializers.IntegerField()
    already_here = serializers.IntegerField()
    problems = ProblemShape(many=True)


class ImportAnswer(serializers.Serializer):
    """The statements of the files, and the acts in words."""

    dry_run = serializers.BooleanField()
    statements = ImportedStatement(many=True)
    acts = serializers.ListField(child=serializers.CharField())


class EvidenceIn(Strict):
    """A paper by its id; from a day only when it says so."""

    id = Text(max_length=200)
    known_on = serializers.DateField(required=False, allow_null=True, default=None)


class SplitIn(Strict):
    """A part of a draw and its use."""

    amount = Money()
    use = serializers.ChoiceField(choices=USES)
    to = Text(required=False, allow_null=True, default=None, max_length=64)
    of = serializers.ChoiceField(choices=CLASSES, required=False, allow_null=True, default=None)
    evidence = EvidenceIn(many=True, required=False, max_length=20)


class UseIn(Strict):
    """A decision about a draw. Without splits no use is claimed."""

    splits = SplitIn(many=True, max_length=40)
    reason = Text(max_length=2000)
    seen = Whole(
        required=False,
        allow_null=True,
        default=None,
        min_value=0,
        max_value=10**6,
        help_text="the revision you had before you; another one since answers 409",
    )


class EvidenceOut(serializers.Serializer):
    """A paper named by a split."""

    id = serializers.CharField(source="ref")
    known_on = serializers.DateField(source="on", allow_null=True)


class SplitOut(serializers.Serializer):
    """A part of a draw and its use."""

    amount = Money(source="amount_cents")
    use = serializers.CharField()
    to = serializers.CharField(allow_null=True)
    of = serializers.CharField(allow_null=True)
    evidence = EvidenceOut(many=True)


class DecisionOut(serializers.Serializer):
    """One revision of what was decided."""

    revision = serializers.IntegerField()
    withdrawn = serializers.BooleanField()
    reason = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()
    splits = SplitOut(many=True)


class PaperOut(serializers.Serializer):
    """A paper in force."""

    id = serializers.UUIDField()
    ref = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    size = serializers.IntegerField()
    sha256 = serializers.CharField()
    draw = serializers.CharField(required=False)


class DrawRow(serializers.Serializer):
    """A draw as it stands on the facts on file."""

    id = serializers.CharField(source="traced.id")
    line = serializers.CharField(source="traced.line")
    kind = serializers.CharField(source="traced.kind")
    on = serializers.DateField(source="traced.on")
    amount = Money(source="traced.amount")
    claimed = Money()
    papers = serializers.IntegerField()
    missing = serializers.ListField(child=serializers.CharField())


class DrawOut(serializers.Serializer):
    """A draw with its decisions, newest first, and papers."""

    id = serializers.CharField()
    revision = serializers.IntegerField()
    decisions = DecisionOut(many=True)
    papers = PaperOut(many=True)


class PapersIn(Strict):
    """Papers of a household: PDF, PNG, JPEG or plain text, 10 MB each at most."""

    files = FileIn(many=True, min_length=1, max_length=10)
    draw = Text(required=False, default="", allow_blank=True, max_length=120)
    evidence = Text(
        required=False,
        default="",
        allow_blank=True,
        max_length=200,
        help_text="the id decisions name them by; left out, each gets its own",
    )
    reason = Text(required=False, default="", allow_blank=True, max_length=500)


class CloseIn(Strict):
    """The month to close, and the first one of a range that ends there."""

    month = Month()
    first = Month(required=False, allow_null=True, default=None)


class MonthItem(serializers.Serializer):
    """A household's month in a close."""

    household = serializers.CharField()
    month = serializers.CharField()
    version = serializers.IntegerField()
    state = serializers.CharField()
    attempt = serializers.IntegerField()
    reason = serializers.CharField()
    stale_reason = serializers.CharField()
    closed_at = serializers.DateTimeField(allow_null=True)


class CloseAnswer(serializers.Serializer):
    """How the months asked for stand now."""

    months = MonthItem(many=True)


class CloseRow(serializers.Serializer):
    """The firm's close of a month, with the number of households in each state."""

    month = serializers.CharField()
    state = serializers.CharField()
    total = serializers.IntegerField()
    done = serializers.IntegerField()
    waiting = serializers.IntegerField()
    pending = serializers.IntegerField()
    running = serializers.IntegerField()
    failed = serializers.IntegerField()
    parked = serializers.IntegerField()
    stale = serializers.IntegerField()
    recorded_at = serializers.DateTimeField()
    completed_at = serializers.DateTimeField(allow_null=True)


class RunRow(serializers.Serializer):
    """A piece of background work."""

    id = serializers.UUIDField(source="pk")
    kind = serializers.CharField()
    key = serializers.CharField()
    state = serializers.CharField()
    done = serializers.IntegerField()
    total = serializers.IntegerField()
    recorded_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)


class MonthRow(serializers.Serializer):
    """A household's month in its newest version."""

    month = MonthOf(read_only=True)
    version = serializers.IntegerField()
    state = serializers.CharField()
    stale = serializers.SerializerMethodField()
    closed_at = serializers.DateTimeField(allow_null=True)

    def get_stale(self, row: Any) -> bool:
        """Whether its facts changed since."""
        return bool(row.stale_reason)


class FindingsQuery(PageQuery):
    """Which findings."""

    household = Text(required=False, max_length=64)
    code = Text(required=False, max_length=40)
    severity = serializers.ChoiceField(choices=list(SEVERITIES), required=False)
    state = serializers.ChoiceField(choices=list(FINDING_STATES), required=False)
    open = serializers.BooleanField(required=False)


class FindingRow(serializers.Serializer):
    """A finding in a list."""

    id = serializers.UUIDField(source="pk")
    household = serializers.CharField(source="household.ref")
    code = serializers.CharField()
    key = serializers.CharField()
    first_month = MonthOf(read_only=True)
    last_month = MonthOf(read_only=True)
    dollars = Money(source="dollars_cents")
    cost_per_year = Money(source="cost_per_year_cents")
    severity = serializers.ChoiceField(choices=list(SEVERITIES))
    open = serializers.BooleanField()
    state = serializers.ChoiceField(choices=list(FINDING_STATES))
    accepted_until = serializers.DateField(allow_null=True)
    assignee = serializers.UUIDField(source="assignee_id", allow_null=True)


class FindingEventOut(serializers.Serializer):
    """One thing that happened to a finding."""

    number = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=list(EVENT_KINDS))
    dollars = Money(source="dollars_cents")
    severity = serializers.ChoiceField(choices=list(SEVERITIES))
    reason = serializers.CharField()
    until = serializers.DateField(allow_null=True)
    assignee = serializers.UUIDField(source="assignee_id", allow_null=True)
    by = serializers.CharField(source="by.email", default=None, allow_null=True)
    at = serializers.DateTimeField(source="recorded_at")


class FindingOut(FindingRow):
    """A finding with its evidence and remedy, and what happened to it."""

    detail = serializers.DictField()
    events = FindingEventOut(many=True)


class ActIn(Strict):
    """One act on a finding: `accept` needs reason and until, `note` text, `assign` member."""

    act = serializers.ChoiceField(choices=("seen", "accept", "back", "assign", "note"))
    reason = Text(required=False, max_length=2000)
    until = serializers.DateField(required=False, help_text="the last day of an acceptance")
    member = serializers.UUIDField(required=False, allow_null=True, help_text="null: nobody")
    text = Text(required=False, max_length=2000)

    needs = {"accept": ("reason", "until"), "note": ("text",), "assign": ("member",)}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """What the act needs is there, and nothing that it does not read."""
        wanted = self.needs.get(attrs["act"], ())
        missing = [name for name in wanted if name not in attrs]
        more = [name for name in attrs if name not in (*wanted, "act")]
        faults = {name: [f"{attrs['act']} needs it"] for name in missing}
        faults |= {name: [f"{attrs['act']} does not take it"] for name in more}
        if faults:
            raise serializers.ValidationError(faults)
        return attrs


def page_shape(kind: type[serializers.Serializer]) -> type[serializers.Serializer]:
    """The shape of a page of rows of a kind."""
    name = kind.__name__.removesuffix("Row").removesuffix("Out") + "Page"
    fields = {
        "items": kind(many=True),
        "next": serializers.CharField(allow_null=True, help_text="cursor of the next page"),
        "__doc__": "A page of a list; next is null on the last one.",
    }
    return type(name, (serializers.Serializer,), fields)


__all__ = ["PageQuery", "Query", "page_shape"]
