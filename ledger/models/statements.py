"""What the banks say: files as received, statements by revision, their rates and postings."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Now

from config.database.base import (
    MAX_CENTS,
    FirmOwned,
    RateField,
    ScopedQuerySet,
    cents_between,
    owned_key,
    rate_between,
)
from planning.core.household_parts import ENTRY_KINDS

KINDS = tuple(sorted({kind for kinds in ENTRY_KINDS.values() for kind in kinds}))
SHA256 = "^[0-9a-f]{64}$"


class SourceFile(FirmOwned):
    """A file as it was received, byte for byte; what it led to names it."""

    facts = True

    household = owned_key("planning.Household", "files")
    name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    format = models.CharField(max_length=20, help_text="household, ofx1, ofx2, csv")
    content = models.BinaryField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "sha256"], name="source_file_once"
            ),
            models.CheckConstraint(condition=Q(sha256__regex=SHA256), name="source_file_sha256"),
        ]


class RevisedQuerySet(ScopedQuerySet):
    """Rows that later rows may supersede."""

    def current(self, known_at: datetime | None = None) -> RevisedQuerySet:
        """Only the latest revisions, without those that were withdrawn.

        `known_at` looks no further than what was on file at that time.
        """
        later = self.model.objects.filter(firm_id=OuterRef("firm_id"), supersedes=OuterRef("pk"))
        found = self
        if known_at is not None:
            later = later.filter(recorded_at__lte=known_at)
            found = found.filter(recorded_at__lte=known_at)
        return found.filter(~Exists(later), withdrawn=False)


RevisedManager = models.Manager.from_queryset(RevisedQuerySet)


class Statement(FirmOwned):
    """One revision of one account's statement for one period. Never edited.

    A correction is a new revision that names the one it supersedes;
    `withdrawn` says that the period has no statement any more. `position`
    keeps the order of the household file.
    """

    facts = True

    household = owned_key("planning.Household", "statements")
    account = owned_key("planning.Account", "statements")
    starts = models.DateField()
    ends = models.DateField()
    revision = models.PositiveIntegerField(default=1)
    supersedes = owned_key("ledger.Statement", "superseded_by", null=True)
    withdrawn = models.BooleanField(default=False)
    position = models.PositiveIntegerField()
    opening_cents = models.BigIntegerField()
    closing_cents = models.BigIntegerField()
    limit_cents = models.BigIntegerField(null=True)
    value_cents = models.BigIntegerField(null=True)
    source_file = owned_key("ledger.SourceFile", "statements", null=True)
    reason = models.TextField(blank=True, default="")
    recorded_at = models.DateTimeField(db_default=Now())

    objects = RevisedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "account", "starts", "ends", "revision"],
                name="statement_revision_once",
            ),
            models.UniqueConstraint(
                fields=["firm", "supersedes"], name="statement_superseded_once"
            ),
            models.CheckConstraint(condition=Q(ends__gte=F("starts")), name="statement_in_order"),
            models.CheckConstraint(
                condition=Q(revision=1, supersedes__isnull=True, withdrawn=False)
                | Q(revision__gt=1, supersedes__isnull=False),
                name="statement_revision_supersedes",
            ),
            models.CheckConstraint(
                condition=cents_between("opening_cents", -MAX_CENTS)
                & cents_between("closing_cents", -MAX_CENTS)
                & cents_between("limit_cents")
                & cents_between("value_cents"),
                name="statement_in_range",
            ),
        ]
        indexes = [
            models.Index(fields=["firm", "household", "ends"], name="statement_by_household"),
        ]


class StatementRate(FirmOwned):
    """A rate stated on a statement, from its date."""

    facts = True

    statement = owned_key("ledger.Statement", "rates")
    starts = models.DateField()
    rate = RateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "statement", "starts"], name="rate_once"),
            models.CheckConstraint(
                condition=rate_between("rate", "-0.05", "1"), name="stated_rate_in_range"
            ),
        ]


class StatementEntry(FirmOwned):
    """One posting of a statement revision; `sequence` is its place on the statement.

    `external_id` is the entry's id in the household, unique among the current
    statements. `source` is the file's `from`.
    """

    facts = True

    household = owned_key("planning.Household", "entries")
    statement = owned_key("ledger.Statement", "entries")
    external_id = models.CharField(max_length=120)
    date = models.DateField()
    sequence = models.PositiveIntegerField()
    kind = models.CharField(max_length=20)
    amount_cents = models.BigIntegerField()
    interest_cents = models.BigIntegerField(null=True)
    principal_cents = models.BigIntegerField(null=True)
    source = models.CharField(max_length=120, null=True)  # noqa: DJ001 - not given is not ""
    of = models.CharField(max_length=20, null=True)  # noqa: DJ001
    paid = models.CharField(max_length=10, null=True)  # noqa: DJ001
    to = models.CharField(max_length=64, null=True)  # noqa: DJ001
    proceeds_cents = models.BigIntegerField(null=True)
    cost_fraction = RateField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "statement", "external_id"], name="entry_id_once"
            ),
            models.UniqueConstraint(
                fields=["firm", "statement", "sequence"], name="entry_sequence_once"
            ),
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="entry_kind_known"),
            models.CheckConstraint(
                condition=cents_between("amount_cents")
                & cents_between("interest_cents")
                & cents_between("principal_cents", -MAX_CENTS)
                & cents_between("proceeds_cents")
                & rate_between("cost_fraction", "0", "1"),
                name="entry_in_range",
            ),
            models.CheckConstraint(
                condition=Q(paid__isnull=True) | Q(paid__in=("cash", "reinvested")),
                name="entry_paid_known",
            ),
        ]
        indexes = [
            models.Index(fields=["firm", "household", "external_id"], name="entry_by_external_id"),
        ]
