"""People who sign in, and the trail of what was seen and changed."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Now

CHANNELS = ("screen", "command", "worker", "system")


class UserManager(BaseUserManager):
    """Makes people by e-mail address."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        """A person with an e-mail address (kept in lower case) and a password."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        """The person of an address, whatever its case."""
        return self.get(email=(username or "").lower())


class User(AbstractBaseUser):
    """A person who signs in with an e-mail address. Their firm is a membership."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    language = models.CharField(max_length=2, default="en", choices=[("en", "en"), ("fr", "fr")])
    is_active = models.BooleanField(default=True)
    recorded_at = models.DateTimeField(db_default=Now())

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    objects = UserManager()


class AuditEvent(models.Model):
    """Who saw or changed what, when and by which door; a chain of hashes per firm.

    Written by `config.audit.record` inside the act's own transaction. Never
    changed: `previous_hash` and `row_hash` tie each row to the one before it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    firm_id = models.UUIDField()
    number = models.BigIntegerField()
    recorded_at = models.DateTimeField()
    actor_id = models.UUIDField(null=True)
    channel = models.CharField(max_length=10)
    action = models.CharField(max_length=60)
    object_type = models.CharField(max_length=40)
    object_id = models.CharField(max_length=80)
    detail = models.JSONField(default=dict)
    previous_hash = models.CharField(max_length=64)
    row_hash = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm_id", "number"], name="audit_number_once"),
            models.CheckConstraint(
                condition=models.Q(channel__in=CHANNELS), name="audit_channel_is_known"
            ),
        ]
        indexes = [
            models.Index(fields=["firm_id", "object_type", "object_id"], name="audit_object")
        ]
