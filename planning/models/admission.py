"""How people come in: invitations, and what an accountant is shown."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now

from config.database.base import FirmOwned, owned_key
from planning.models.firm import ROLES

HEX64 = "^[0-9a-f]{64}$"
EARLIEST_YEAR, LATEST_YEAR = 1990, 2200


class Invitation(FirmOwned):
    """An address was asked to join the firm. Open until accepted, revoked or past `expires_at`.

    Of the token in the link only its digest is kept; sending again replaces it.
    """

    email = models.EmailField(max_length=254)
    role = models.CharField(max_length=12, choices=[(role, role) for role in ROLES])
    name = models.CharField(max_length=200, blank=True, default="")
    language = models.CharField(max_length=2, default="en")
    token_sha256 = models.CharField(max_length=64)
    generation = models.PositiveIntegerField(default=1)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
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
                "firm",
                Lower("email"),
                condition=Q(accepted_at__isnull=True, revoked_at__isnull=True),
                name="invitation_open_once",
            ),
            models.CheckConstraint(condition=Q(role__in=ROLES), name="invitation_role_known"),
            models.CheckConstraint(
                condition=Q(language__in=("en", "fr")), name="invitation_language_known"
            ),
            models.CheckConstraint(
                condition=Q(token_sha256__regex=HEX64), name="invitation_token_is_sha256"
            ),
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True) | Q(revoked_at__isnull=True),
                name="invitation_ends_one_way",
            ),
        ]


class InvitationPart(FirmOwned):
    """An advisor whom the invited assistant will act for, or a household of the invited client."""

    invitation = owned_key("planning.Invitation", "parts")
    advisor = owned_key("planning.Membership", "+", null=True)
    household = owned_key("planning.Household", "+", null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(advisor__isnull=True, household__isnull=False)
                | Q(advisor__isnull=False, household__isnull=True),
                name="invitation_part_is_one",
            ),
        ]


class AccountantGrant(FirmOwned):
    """One accountant may read one household's packets and trace of one tax year.

    Either a member of the firm with that role, who signs in, or somebody named
    by name and address, who opens a link with a code said by another channel.
    `code_digest` is empty once the code was used or void; a use is one session.
    """

    household = owned_key("planning.Household", "grants")
    year = models.PositiveSmallIntegerField()
    membership = owned_key("planning.Membership", "grants", null=True)
    name = models.CharField(max_length=200, blank=True, default="")
    email = models.EmailField(max_length=254, blank=True, default="")
    code_digest = models.CharField(max_length=64, blank=True, default="")
    wrong_codes = models.PositiveSmallIntegerField(default=0)
    uses = models.PositiveIntegerField(default=0)
    max_uses = models.PositiveIntegerField(default=10)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)
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
            models.CheckConstraint(
                condition=Q(year__gte=EARLIEST_YEAR, year__lte=LATEST_YEAR),
                name="grant_year_in_range",
            ),
            models.CheckConstraint(
                condition=Q(membership__isnull=False) | (~Q(name="") & ~Q(email="")),
                name="grant_is_somebodys",
            ),
            models.CheckConstraint(
                condition=Q(code_digest="") | Q(code_digest__regex=HEX64),
                name="grant_code_is_sha256",
            ),
            models.CheckConstraint(
                condition=Q(max_uses__gte=1, max_uses__lte=100, uses__lte=models.F("max_uses")),
                name="grant_uses_in_range",
            ),
            models.CheckConstraint(condition=Q(wrong_codes__lte=5), name="grant_wrong_at_most"),
        ]
        indexes = [models.Index(fields=["firm", "membership"], name="grant_by_member")]


class Sighting(FirmOwned):
    """Somebody was shown something of a household. Written by `planning.sightings` alone.

    A page counts once a person, route and hour; each download is a row of its
    own. Rows are never changed; retention removes them after their years.
    """

    household = owned_key("planning.Household", "sightings")
    who = models.CharField(max_length=50)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    grant = owned_key("planning.AccountantGrant", "sightings", null=True)
    role = models.CharField(max_length=12)
    kind = models.CharField(max_length=10)
    route = models.CharField(max_length=60)
    object_id = models.CharField(max_length=80, blank=True, default="")
    hour = models.DateTimeField()
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "who", "route", "hour"],
                condition=Q(kind="page"),
                name="sighting_page_once_an_hour",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=("page", "packet", "evidence", "books")),
                name="sighting_kind_known",
            ),
        ]
        indexes = [models.Index(fields=["firm", "household", "at"], name="sighting_by_time")]
