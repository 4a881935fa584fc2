"""Whose token it is."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed

from planning.services.tokens import Standing, use_token

LONGEST = 200


class TokenOfMember(BaseAuthentication):
    """`Authorization: Bearer tow_...`: the member's login, and the token's standing."""

    def authenticate(self, request: Any) -> tuple[Any, Standing] | None:
        """The user and standing; None without such a header. Raises AuthenticationFailed."""
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        if len(words) != 2 or len(words[1]) > LONGEST:
            raise AuthenticationFailed
        standing = use_token(words[1].decode("ascii", "replace"))
        if standing is None:
            raise AuthenticationFailed
        return standing.token.membership.user, standing

    def authenticate_header(self, request: Any) -> str:  # noqa: ARG002
        """What a refusal asks for."""
        return "Bearer"
