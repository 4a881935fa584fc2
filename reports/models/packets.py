"""Packets: what was said to a household about a period, kept for good."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key

PACKET_KINDS = ("quarterly", "proposal", "annual")
PACKET_STATES = ("queued", "rendering", "stored", "parked")
LANGUAGES = ("en", "fr")


class Packet(FirmOwned):
    """One version of one household's packet for one period, in one language.

    The snapshot is written once and the database refuses to change it; the
    bytes join it when they are drawn, and then the whole row is final. A packet
    with the same inputs and template is the same row; other inputs make the
    next version. `parked` means that drawing failed for a lasting reason, which
    `error` gives.
    """

    household = owned_key("planning.Household", "packets")
    kind = models.CharField(max_length=12)
    period = models.CharField(max_length=7, help_text="2026-Q3, plan3 or 2026")
    language = models.CharField(max_length=2)
    version = models.PositiveIntegerField()
    as_of = models.DateField()
    input_digest = models.CharField(max_length=64)
    template_version = models.CharField(max_length=12)
    snapshot = models.JSONField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    recorded_at = models.DateTimeField(db_default=Now())

    state = models.CharField(max_length=10, default="queued")
    error = models.TextField(default="")
    pdf = models.BinaryField(null=True)
    pdf_sha256 = models.CharField(max_length=64, default="")
    xlsx = models.BinaryField(null=True)
    xlsx_sha256 = models.CharField(max_length=64, default="")
    tables = models.BinaryField(null=True, help_text="CSV files in one archive")
    tables_sha256 = models.CharField(max_length=64, default="")
    toolchain = models.JSONField(default=dict)
    stored_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "kind", "period", "language", "version"],
                name="packet_version_once",
            ),
            models.UniqueConstraint(
                fields=["firm", "household", "kind", "input_digest", "template_version"],
                name="packet_inputs_once",
            ),
            models.CheckConstraint(condition=Q(kind__in=PACKET_KINDS), name="packet_kind_is_known"),
            models.CheckConstraint(
                condition=Q(state__in=PACKET_STATES), name="packet_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(language__in=LANGUAGES), name="packet_language_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(state="stored")
                | (Q(pdf__isnull=False, stored_at__isnull=False) & ~Q(pdf_sha256="")),
                name="stored_packet_has_its_bytes",
            ),
            models.CheckConstraint(
                condition=~Q(state="stored", kind="annual")
                | (
                    Q(xlsx__isnull=False, tables__isnull=False)
                    & ~Q(xlsx_sha256="")
                    & ~Q(tables_sha256="")
                ),
                name="stored_annual_has_three_files",
            ),
            models.CheckConstraint(
                condition=~Q(state="parked") | ~Q(error=""), name="parked_packet_says_why"
            ),
        ]
        indexes = [
            models.Index(fields=["firm", "household", "period"], name="packet_by_household"),
        ]

    @property
    def file_name(self) -> str:
        """The name of the file when it leaves the server: a fixed pattern, no free text."""
        return packet_file_name(
            self.kind, self.household.ref, self.period, self.language, self.version
        )

    def file_name_of(self, form: str) -> str:
        """The name of the packet's file in a form: pdf, xlsx or csv (an archive)."""
        ending = {"pdf": "pdf", "xlsx": "xlsx", "csv": "csv.zip"}[form]
        return f"{self.file_name.removesuffix('.pdf')}.{ending}"


def packet_file_name(kind: str, ref: str, period: str, language: str, version: int) -> str:
    """quarterly-HH-0101-2026-Q3-en-v1.pdf; signs other than letters and digits become "-"."""
    safe = "".join(one if one.isascii() and (one.isalnum() or one in "-_") else "-" for one in ref)
    return f"{kind}-{safe}-{period}-{language}-v{version}.pdf"
