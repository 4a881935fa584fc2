"""Papers that show what a draw was used for: the bytes once a firm, and where they belong."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key
from ledger.core.paper_kinds import KINDS, MOST_BYTES
from ledger.models.statements import SHA256, RevisedManager


class EvidenceContent(FirmOwned):
    """The bytes of a paper, byte for byte as received, kept once in a firm.

    Nobody reads a row of this table but through an `EvidencePaper`, which says
    whose household it belongs to.
    """

    facts = True

    sha256 = models.CharField(max_length=64)
    kind = models.CharField(max_length=10, help_text="by the bytes, never by the name")
    size = models.PositiveBigIntegerField()
    content = models.BinaryField()
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "sha256"], name="evidence_content_once"),
            models.CheckConstraint(condition=Q(sha256__regex=SHA256), name="evidence_sha256"),
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="evidence_kind_known"),
            models.CheckConstraint(
                condition=Q(size__gt=0, size__lte=MOST_BYTES), name="evidence_size_in_range"
            ),
        ]


class EvidencePaper(FirmOwned):
    """A paper of a household under an evidence id, the word that decisions name it by.

    Never edited. `withdrawn` takes the paper back by a row that supersedes the
    one before; handing it in again is another row. `draw` is the entry on whose
    page it was handed in, `name` what the person's file was called: for display.
    """

    facts = True

    household = owned_key("planning.Household", "papers")
    content = owned_key("ledger.EvidenceContent", "papers")
    ref = models.CharField(max_length=200)
    draw = models.CharField(max_length=120, blank=True, default="")
    name = models.CharField(max_length=120)
    revision = models.PositiveIntegerField(default=1)
    supersedes = owned_key("ledger.EvidencePaper", "superseded_by", null=True)
    withdrawn = models.BooleanField(default=False)
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
                fields=["firm", "household", "ref", "content", "revision"],
                name="paper_revision_once",
            ),
            models.UniqueConstraint(fields=["firm", "supersedes"], name="paper_superseded_once"),
            models.CheckConstraint(
                condition=Q(revision=1, supersedes__isnull=True, withdrawn=False)
                | Q(revision__gt=1, supersedes__isnull=False),
                name="paper_revision_supersedes",
            ),
        ]
