"""A person who signs in with an e-mail address. What they may do is a membership's matter."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower, Now


class UserManager(BaseUserManager["User"]):
    """Finds and makes users by address, whatever its letters' case."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        """Make a user; without a password nobody can sign in as them yet."""
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        """The user of an address, for the sign-in form."""
        return self.get(email__iexact=(username or "").strip())


class User(AbstractBaseUser):
    """A login. There is no superuser: every right comes from a membership of a firm."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(max_length=254, unique=True)
    name = models.CharField(max_length=200, blank=True, default="")
    language = models.CharField(max_length=2, choices=settings.LANGUAGES, default="en")
    is_active = models.BooleanField(default=True)
    recorded_at = models.DateTimeField(db_default=Now())

    objects = UserManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: list[str] = []

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="user_email_any_case")]

    def get_full_name(self) -> str:
        """The name, or the address of somebody who gave none."""
        return self.name or self.email

    def get_short_name(self) -> str:
        """The same as the full name."""
        return self.get_full_name()
