"""Files taken in, the statements they hold, and what each draw was used for.

All of it is kept for good: a corrected statement or decision is a new row that
names the one it supersedes.
"""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from planning.core.household_parts import ENTRY_KINDS
from planning.core.types import CLASSES, USES
from planning.models import FirmOwned, RateField
from planning.models.household import cents_in_range

ACCOUNT_TYPES = tuple(ENTRY_KINDS)
KINDS = tuple(dict.fromkeys(kind for kinds in ENTRY_KINDS.values() for kind in kinds))


class SourceFile(FirmOwned):
    """A file as it came, by its digest; the same bytes are kept once."""

    sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    format = models.CharField(max_length=20)
    size = models.PositiveIntegerField()
    content = models.BinaryField()
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "sha256"], name="source_file_once"),
        ]


class KnownAccount(FirmOwned):
    """Which account of a household an identifier in a bank's file stands for.

    Only a keyed digest and the last four characters are kept.
    """

    household = models.ForeignKey("planning.Household", on_delete=models.RESTRICT, related_name="+")
    account = models.CharField(max_length=64)
    identifier_digest = models.CharField(max_length=64)
    last4 = models.CharField(max_length=4)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "identifier_digest"], name="known_account_once"
            ),
        ]


class Statement(FirmOwned):
    """One revision of one account's statement for one period.

    `order` is the place among the household's statements; a revision keeps its
    predecessor's. The statement in force is the one nobody supersedes.
    """

    household = models.ForeignKey("planning.Household", on_delete=models.RESTRICT, related_name="+")
    account = models.CharField(max_length=64)
    account_type = models.CharField(max_length=10)
    starts = models.DateField()
    ends = models.DateField()
    opening_cents = models.BigIntegerField()
    closing_cents = models.BigIntegerField()
    limit_cents = models.BigIntegerField(null=True)
    value_cents = models.BigIntegerField(null=True)
    order = models.PositiveIntegerField()
    revision = models.PositiveIntegerField(default=1)
    supersedes = models.OneToOneField(
        "self", on_delete=models.RESTRICT, null=True, related_name="superseded_by"
    )
    source = models.ForeignKey(SourceFile, on_delete=models.RESTRICT, null=True, related_name="+")
    reason = models.TextField(default="")
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "account", "starts", "revision"],
                name="statement_revision_once",
            ),
            models.CheckConstraint(condition=Q(ends__gte=F("starts")), name="statement_has_days"),
            models.CheckConstraint(
                condition=Q(account_type__in=ACCOUNT_TYPES), name="statement_account_type"
            ),
            cents_in_range("opening_cents", "statement_opening_in_range"),
            cents_in_range("closing_cents", "statement_closing_in_range"),
        ]
        indexes = [
            models.Index(fields=["firm", "household", "account", "starts"], name="statement_period")
        ]


class StatementRate(FirmOwned):
    """A rate a statement shows, from a day on."""

    statement = models.ForeignKey(Statement, on_delete=models.RESTRICT, related_name="+")
    on = models.DateField()
    rate_annual = RateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "statement", "on"], name="statement_rate_once"),
        ]


class StatementEntry(FirmOwned):
    """One posting of a statement, amount positive, in the statement's sequence.

    `entry_id` is the household's own name for it, unique among the statements
    in force; the optional columns are those of the household file.
    """

    statement = models.ForeignKey(Statement, on_delete=models.RESTRICT, related_name="+")
    sequence = models.PositiveIntegerField()
    entry_id = models.CharField(max_length=120)
    on = models.DateField()
    kind = models.CharField(max_length=16)
    amount_cents = models.BigIntegerField()
    interest_cents = models.BigIntegerField(null=True)
    principal_cents = models.BigIntegerField(null=True)
    source_entry = models.CharField(max_length=120, null=True)  # noqa: DJ001 - null is the file's
    of = models.CharField(max_length=20, null=True)  # noqa: DJ001 - null is the file's
    paid = models.CharField(max_length=10, null=True)  # noqa: DJ001 - null is the file's
    to = models.CharField(max_length=64, null=True)  # noqa: DJ001 - null is the file's
    proceeds_cents = models.BigIntegerField(null=True)
    cost_fraction = RateField(null=True)
    description = models.CharField(max_length=200, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "statement", "entry_id"], name="entry_once_a_statement"
            ),
            models.UniqueConstraint(
                fields=["firm", "statement", "sequence"], name="entry_place_once"
            ),
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="entry_kind_is_known"),
            models.CheckConstraint(condition=Q(amount_cents__gte=0), name="entry_not_negative"),
            cents_in_range("amount_cents", "entry_amount_in_range"),
        ]


class DrawUse(FirmOwned):
    """A decision about what one draw was used for; the highest revision is in force."""

    household = models.ForeignKey("planning.Household", on_delete=models.RESTRICT, related_name="+")
    draw = models.CharField(max_length=120)
    order = models.PositiveIntegerField()
    revision = models.PositiveIntegerField(default=1)
    decided_by = models.UUIDField(null=True)
    reason = models.TextField(default="")
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "draw", "revision"], name="use_revision_once"
            ),
        ]


class UseSplit(FirmOwned):
    """A part of a draw and its use."""

    use = models.ForeignKey(DrawUse, on_delete=models.RESTRICT, related_name="+")
    position = models.PositiveIntegerField()
    amount_cents = models.BigIntegerField()
    purpose = models.CharField(max_length=24)
    to = models.CharField(max_length=64, null=True)  # noqa: DJ001 - null is the file's
    of = models.CharField(max_length=12, null=True)  # noqa: DJ001 - null is the file's

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "use", "position"], name="split_place_once"),
            models.CheckConstraint(condition=Q(purpose__in=USES), name="split_use_is_known"),
            models.CheckConstraint(
                condition=Q(of__isnull=True) | Q(of__in=CLASSES), name="split_class_is_known"
            ),
            models.CheckConstraint(condition=Q(amount_cents__gte=0), name="split_not_negative"),
        ]


class EvidenceRef(FirmOwned):
    """A paper that supports a split; with `known_on` it counts from that day."""

    split = models.ForeignKey(UseSplit, on_delete=models.RESTRICT, related_name="+")
    position = models.PositiveIntegerField()
    ref = models.CharField(max_length=200)
    known_on = models.DateField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "split", "position"], name="evidence_place_once"
            ),
        ]
