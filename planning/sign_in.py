"""Signing in: what differs from the library's defaults, and who must bring a second factor."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import structlog
from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from allauth.mfa.utils import is_mfa_enabled
from django.conf import settings
from django.core.mail import EmailMessage
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from config import audit
from config.encryption import opened, sealed
from config.middleware import SIGNED_IN_AT
from config.rates import SIGN_IN_ACCOUNT, SIGN_IN_EVERYWHERE, address_of
from planning.access import STAFF, Access

# What somebody without the second factor they owe may still do.
OPEN_ROUTES = frozenset({"logout", "account_logout", "set_language", "account_change_password"})
HAS_SECOND_FACTOR = "has_second_factor"
log = structlog.get_logger("towpath.sign_in")


class SignIn(DefaultAccountAdapter):
    """Passwords: no sign-up, counted tries, each sign-in in the trail of the firm."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        """Nobody signs up: a firm invites its people."""
        return False

    def get_client_ip(self, request: HttpRequest) -> str:
        """The address that limits and sessions are counted by."""
        return address_of(request)

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Count a try before the password is looked at. The same for unknown addresses."""
        account = str(credentials.get("email") or credentials.get("username") or "")
        here = SIGN_IN_ACCOUNT.allows(account, address_of(request))
        anywhere = SIGN_IN_EVERYWHERE.allows(account)
        if not (here and anywhere):
            raise self.validation_error("too_many_login_attempts")

    def authenticate(self, request: HttpRequest, **credentials: Any) -> Any:
        """The user of an address and password; a right one gives its try back."""
        user = super().authenticate(request, **credentials)
        if user is not None:
            account = str(credentials.get("email") or credentials.get("username") or "")
            SIGN_IN_ACCOUNT.forget(account, address_of(request))
            SIGN_IN_EVERYWHERE.forget(account)
        return user

    def _rollback_login_failed_rl_usage(self) -> None:
        """Nothing: the library's counter lives in one process and is not used."""

    def reauthenticate(self, user: Any, password: str) -> bool:
        """Whether it is the person's password; the form's tries are counted by its route."""
        return bool(user.check_password(password))

    def is_reauthentication_required(self, *, app: str, **more: Any) -> bool:
        """Whether to ask again before a dangerous act: not right after signing in."""
        begun = self.request.session.get(SIGNED_IN_AT, 0)
        fresh = time.time() - begun < settings.ACCOUNT_REAUTHENTICATION_TIMEOUT
        return not fresh and super().is_reauthentication_required(app=app, **more)

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Send a reset link or a notice without letting the answer's time or fate depend on it."""
        letter = self.render_mail(template_prefix, email, {"request": self.request} | context)
        if settings.EMAIL_BACKEND.endswith("smtp.EmailBackend"):
            threading.Thread(target=_send, args=(letter,), daemon=True).start()
        else:
            _send(letter)

    def post_login(self, request: HttpRequest, user: Any, **more: Any) -> HttpResponse:
        """Note the sign-in in the trail of the firm the person works for."""
        access = Access.for_user(user)
        if access is not None:
            with access.opened():
                audit.record(
                    access, "person.sign_in", object_type="membership",
                    object_id=access.membership_id,
                )  # fmt: skip
        return super().post_login(request, user, **more)


def _send(letter: EmailMessage) -> None:
    """Hand a letter to the mail server; what goes wrong is logged by its type alone."""
    try:
        letter.send()
    except OSError as failed:  # smtplib's errors are OSErrors
        log.warning("account mail not sent", error_type=type(failed).__name__)


class SecondFactor(DefaultMFAAdapter):
    """Second factors: seeds are sealed in the table; staff cannot drop their last one."""

    def encrypt(self, text: str) -> str:
        """A secret as the table keeps it."""
        return sealed(text)

    def decrypt(self, encrypted_text: str) -> str:
        """A secret from the table."""
        return opened(encrypted_text)

    def can_delete_authenticator(self, authenticator: Authenticator) -> bool:
        """Not the last one of somebody who must have one: add another first."""
        if not owes_second_factor(Access.for_user(authenticator.user)):
            return True
        kinds = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
        others = Authenticator.objects.filter(user=authenticator.user, type__in=kinds)
        return others.exclude(pk=authenticator.pk).exists()


def owes_second_factor(access: Access | None) -> bool:
    """Whether this standing may be used only with a second factor."""
    return settings.SECOND_FACTOR == "staff" and access is not None and access.role in STAFF


class SecondFactorFirst:
    """Leads staff without a second factor to the page where they add one, and nowhere else."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; the view is judged in `process_view`."""
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_view: object) -> HttpResponse | None:
        """Answer in the view's place while a second factor is owed."""
        if not owes_second_factor(getattr(request, "access", None)):
            return None
        name = (request.resolver_match.url_name if request.resolver_match else "") or ""
        if name in OPEN_ROUTES or name.startswith("mfa_") or name == "account_reauthenticate":
            return None
        if not request.session.get(HAS_SECOND_FACTOR):
            if not is_mfa_enabled(request.user):
                return redirect("mfa_index")
            request.session[HAS_SECOND_FACTOR] = True
        return None
