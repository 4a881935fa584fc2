"""Making, using and revoking tokens of a member's programs."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone
from knox.crypto import hash_token
from knox.models import AuthToken

from config import audit
from config.database import firm_scope, user_scope
from config.models import User
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from planning.api.scopes import scopes_of_role
from planning.models import ApiToken, Membership

LONGEST_DAYS = 365
MOST_TOKENS = 20
PREFIX = "tow_"
SEEN_STEP = timedelta(seconds=60)


@dataclass(frozen=True, slots=True)
class Standing:
    """A living token: its row, and the access of the member whose it is."""

    token: ApiToken
    access: Access


def make_token(
    *, access: Access, name: str, scopes: Collection[str], days: int
) -> tuple[ApiToken, str]:
    """A new token of the member: its row, and the token itself, told this once.

    `days` is its life, 1 to 365. Raises BadInput for a name that is empty or too
    long, a scope the role cannot use, a life out of range, too many tokens.
    """
    access.require("token.own")
    assert access.user_id is not None
    assert access.membership_id is not None
    with access.opened():
        # Two forms sent at once take turns at the member's row.
        Membership.objects.select_for_update(no_key=True).get(pk=access.membership_id)
        _check(access, name.strip(), scopes, days)
        kept, secret = AuthToken.objects.create(
            User.objects.get(pk=access.user_id), expiry=timedelta(days=days), prefix=PREFIX
        )
        row = ApiToken.objects.create(
            firm_id=access.firm_id,
            membership_id=access.membership_id,
            name=name.strip(),
            scopes=sorted(set(scopes)),
            digest=kept.digest,
            begins=secret[:8],
            expires_at=kept.expiry,
        )
        audit.record(
            access,
            "token.made",
            object_type="membership",
            object_id=access.membership_id,
            detail={"token": str(row.pk), "scopes": row.scopes, "days": days},
        )
    return row, secret


def _check(access: Access, name: str, scopes: Collection[str], days: int) -> None:
    problems: list[Problem] = []
    if not name or len(name) > 80 or "\x00" in name:
        problems.append(
            Problem("token", "name", "a token needs a name of 1 to 80 characters", "Name its use")
        )
    usable = scopes_of_role(access.role)
    if not scopes or set(scopes) - set(usable):
        text = "choose at least one scope, and only such as your role can use"
        problems.append(Problem("token", "scopes", text, f"Choose from: {', '.join(usable)}"))
    if not 1 <= days <= LONGEST_DAYS:
        text = f"{days} days is out of range"
        problems.append(Problem("token", "days", text, f"Choose 1 to {LONGEST_DAYS} days"))
    living = ApiToken.objects.filter(
        membership_id=access.membership_id, revoked_at__isnull=True, expires_at__gt=Now()
    )
    if living.count() >= MOST_TOKENS:
        text = f"you have {MOST_TOKENS} tokens already"
        problems.append(Problem("token", "name", text, "Revoke one that is not used any more"))
    if problems:
        raise BadInput(problems)


def revoke_token(*, access: Access, token_id: UUID) -> None:
    """Make one of the member's own tokens dead at once; a dead one stays as it is.

    Raises NotVisibleError when the member has no such token.
    """
    access.require("token.own")
    with access.opened():
        row = (
            ApiToken.objects.select_for_update(no_key=True)
            .filter(membership_id=access.membership_id, pk=token_id)
            .first()
        )
        if row is None:
            raise NotVisibleError("no such token")
        AuthToken.objects.filter(digest=row.digest).delete()
        if row.revoked_at is None:
            ApiToken.objects.filter(pk=row.pk).update(revoked_at=Now())
            audit.record(
                access,
                "token.revoked",
                object_type="membership",
                object_id=access.membership_id,
                detail={"token": str(row.pk)},
            )


def use_token(secret: str) -> Standing | None:
    """The standing a token gives now, its last use noted; None for one that is dead or none.

    Dead: over, revoked, its owner's login or membership switched off. Needs no
    scope, and leaves none open.
    """
    kept = AuthToken.objects.filter(digest=hash_token(secret)).select_related("user").first()
    if kept is None or kept.expiry is None or kept.expiry <= timezone.now():
        return None
    if not kept.user.is_active:
        return None
    with user_scope(kept.user_id):
        found = Membership.objects.filter(user_id=kept.user_id, active=True)
        firms = [one.firm_id for one in found]
    for firm_id in firms:
        with firm_scope(firm_id):
            row = (
                ApiToken.objects.filter(
                    digest=kept.digest, revoked_at__isnull=True, expires_at__gt=Now()
                )
                .select_related("membership__user")
                .first()
            )
            if row is None:
                continue
            access = Access.for_member(row.membership, channel="api")
            if access is None or not access.can("token.own"):
                return None
            long_ago = timezone.now() - SEEN_STEP
            ApiToken.objects.filter(
                Q(last_used_at__isnull=True) | Q(last_used_at__lt=long_ago), pk=row.pk
            ).update(last_used_at=Now())
            return Standing(row, access)
    return None
