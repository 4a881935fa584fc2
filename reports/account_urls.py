"""Signing in, passwords, second factors, sessions: the library's views under our addresses.

Only what is offered has an address: nobody signs up, and an e-mail address is
changed by the firm.
"""

from __future__ import annotations

from allauth.account import views as account
from allauth.mfa.base import views as factors
from allauth.usersessions import views as sessions
from django.urls import URLPattern, URLResolver, include, path, re_path

urlpatterns: list[URLPattern | URLResolver] = [
    path("login/", account.login, name="login"),
    path("login/", account.login, name="account_login"),
    path("logout/", account.logout, name="logout"),
    path("logout/", account.logout, name="account_logout"),
    path("login/inactive/", account.account_inactive, name="account_inactive"),
    path("me/confirm/", account.reauthenticate, name="account_reauthenticate"),
    path("me/password/", account.password_change, name="account_change_password"),
    path("me/password/set/", account.password_set, name="account_set_password"),
    path("password/", account.password_reset, name="account_reset_password"),
    path("password/sent/", account.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        account.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path(
        "password/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    path("me/sessions/", sessions.list_usersessions, name="usersessions_list"),
    path("me/second-factor/", factors.index, name="mfa_index"),
    path("login/second-factor/", factors.authenticate, name="mfa_authenticate"),
    path("me/second-factor/confirm/", factors.reauthenticate, name="mfa_reauthenticate"),
    path("me/second-factor/app/", include("allauth.mfa.totp.urls")),
    path("me/second-factor/keys/", include("allauth.mfa.webauthn.urls")),
    path("me/second-factor/codes/", include("allauth.mfa.recovery_codes.urls")),
]
