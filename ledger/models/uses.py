"""What people decided a draw was used for, decision by decision."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, cents_between, owned_key
from ledger.models.statements import RevisedManager
from planning.core.types import CLASSES, USES


class DrawUse(FirmOwned):
    """One decision about one draw, opening, adjustment or fee. Never edited.

    `draw` is the entry's id in the household. A later decision supersedes;
    `withdrawn` takes the claim back.
    """

    facts = True

    household = owned_key("planning.Household", "uses")
    draw = models.CharField(max_length=120)
    revision = models.PositiveIntegerField(default=1)
    supersedes = owned_key("ledger.DrawUse", "superseded_by", null=True)
    withdrawn = models.BooleanField(default=False)
    position = models.PositiveIntegerField()
    reason = models.TextField(blank=True, default="")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    recorded_at = models.DateTimeField(db_default=Now())

    objects = RevisedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "draw", "revision"], name="use_revision_once"
            ),
            models.UniqueConstraint(fields=["firm", "supersedes"], name="use_superseded_once"),
            models.CheckConstraint(
                condition=Q(revision=1, supersedes__isnull=True, withdrawn=False)
                | Q(revision__gt=1, supersedes__isnull=False),
                name="use_revision_supersedes",
            ),
        ]


class UseSplit(FirmOwned):
    """A part of a draw and its use; `of` only for a refinance."""

    facts = True

    use = owned_key("ledger.DrawUse", "splits")
    position = models.PositiveIntegerField()
    amount_cents = models.BigIntegerField()
    purpose = models.CharField(max_length=20)
    to = models.CharField(max_length=64, null=True)  # noqa: DJ001 - not given is not ""
    of = models.CharField(max_length=12, null=True)  # noqa: DJ001

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "use", "position"], name="split_once"),
            models.CheckConstraint(
                condition=cents_between("amount_cents"), name="split_amount_in_range"
            ),
            models.CheckConstraint(condition=Q(purpose__in=USES), name="split_purpose_known"),
            models.CheckConstraint(
                condition=Q(of__isnull=True) | Q(of__in=CLASSES, purpose="refinance"),
                name="split_class_known",
            ),
        ]


class EvidenceRef(FirmOwned):
    """A paper that supports a split; with `known_on`, from that date only."""

    facts = True

    split = owned_key("ledger.UseSplit", "evidence")
    position = models.PositiveIntegerField()
    ref = models.CharField(max_length=200)
    known_on = models.DateField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "split", "position"], name="evidence_once"),
        ]
