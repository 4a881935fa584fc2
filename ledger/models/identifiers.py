"""Which account number is which account, so that a file finds its household by itself."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key
from ledger.models.statements import SHA256


class AccountIdentifier(FirmOwned):
    """An account number as a digest, learned when a file is first booked to an account.

    The number itself is not kept: `digest` is keyed with the firm, `last4` is
    for people. One number names one account of a firm.
    """

    household = owned_key("planning.Household", "account_identifiers")
    account = owned_key("planning.Account", "identifiers")
    digest = models.CharField(max_length=64)
    last4 = models.CharField(max_length=4)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "digest"], name="account_identifier_once"),
            models.CheckConstraint(
                condition=Q(digest__regex=SHA256), name="account_identifier_sha256"
            ),
        ]
