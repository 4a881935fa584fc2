"""Showing an accountant one household's packets and trace of one tax year, for a while.

An accountant who is a member signs in. One who is not opens a link that names
the grant and holds no secret, and gives a code of eight digits that came by
another channel. A code works once; five wrong ones void the grant.
"""

from __future__ import annotations

import hmac
import secrets
from datetime import timedelta
from hashlib import sha256
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from config import audit
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from planning.models import AccountantGrant, Membership
from planning.models.admission import EARLIEST_YEAR, LATEST_YEAR
from planning.services.invitations import database_now

DEFAULT_DAYS, MOST_DAYS, MOST_USES = 30, 90, 100
WRONG_AT_MOST = 5


def grant(
    *,
    access: Access,
    ref: str,
    year: int,
    member_id: UUID | None = None,
    name: str = "",
    email: str = "",
    days: int = DEFAULT_DAYS,
    max_uses: int = 10,
) -> tuple[AccountantGrant, str]:
    """Grant a household and year; the grant and its code, empty for a member.

    `days` 1 to 90, `max_uses` 1 to 100 sessions. Raises BadInput, NotVisibleError.
    """
    access.require("grant.manage")
    name, email = name.strip(), email.strip().lower()
    problems = _faults(year, days, max_uses, None if member_id else (name, email))
    if problems:
        raise BadInput(problems)
    with access.opened():
        household = access.household(ref)
        if member_id is not None:
            _accountant(access, member_id)
        row = AccountantGrant(
            firm_id=access.firm_id,
            household=household,
            year=year,
            membership_id=member_id,
            name="" if member_id else name,
            email="" if member_id else email,
            max_uses=max_uses,
            expires_at=database_now() + timedelta(days=days),
            by_id=access.user_id,
        )
        code = "" if member_id else new_digits()
        row.code_digest = digest_of(row.pk, code) if code else ""
        row.save(force_insert=True)
        detail = {"household": household.ref, "year": year, "days": days}
        _note(access, "grant.make", row, detail)
    return row, code


def _faults(year: int, days: int, max_uses: int, person: tuple[str, str] | None) -> list[Problem]:
    problems: list[Problem] = []
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        problems.append(_problem("year", "no tax year", "Give four digits"))
    if not 1 <= days <= MOST_DAYS:
        problems.append(_problem("days", "out of range", f"Give 1 to {MOST_DAYS} days"))
    if not 1 <= max_uses <= MOST_USES:
        problems.append(_problem("max_uses", "out of range", f"Give 1 to {MOST_USES}"))
    if person is not None:
        if not 0 < len(person[0]) <= 200:
            problems.append(_problem("name", "missing or too long", "Give the name"))
        try:
            validate_email(person[1])
        except ValidationError:
            problems.append(_problem("email", "no address", "Give an e-mail address"))
    return problems


def _problem(where: str, message: str, remedy: str) -> Problem:
    return Problem("grant", where, message, remedy)


def _accountant(access: Access, member_id: UUID) -> None:
    rows = Membership.objects.filter(firm_id=access.firm_id, pk=member_id)
    if not rows.filter(role="accountant", active=True).exists():
        raise BadInput([_problem("member", "no accountant", "Choose from the list")])


def new_digits() -> str:
    """Eight digits from the system's randomness."""
    return f"{secrets.randbelow(10**8):08d}"


def digest_of(grant_id: UUID, code: str) -> str:
    """What is kept of a code: keyed, because eight digits could be tried out."""
    text = f"grant {grant_id} {code}"
    return hmac.new(settings.SECRET_KEY.encode(), text.encode(), sha256).hexdigest()


def revoke_grant(*, access: Access, grant_id: UUID) -> None:
    """End a grant: it and its open sessions show nothing from now on."""
    access.require("grant.manage")
    with access.opened():
        row = _locked(access, grant_id)
        if row.revoked_at is None:
            row.revoked_at, row.code_digest = database_now(), ""
            row.save(update_fields=["revoked_at", "code_digest"])
            _note(access, "grant.revoke", row, {})


def new_code(*, access: Access, grant_id: UUID) -> str:
    """A new code for a link's grant, to be said by another channel; the earlier one is void.

    Raises BadInput for a member's grant and for one that has ended.
    """
    access.require("grant.manage")
    code = new_digits()
    with access.opened():
        row = _locked(access, grant_id)
        over = row.revoked_at is not None or row.expires_at <= database_now()
        if over or row.membership_id is not None or row.uses >= row.max_uses:
            raise BadInput([_problem("grant", "ended", "Make a new grant")])
        row.code_digest = digest_of(row.pk, code)
        row.save(update_fields=["code_digest"])
        _note(access, "grant.code", row, {})
    return code


def _locked(access: Access, grant_id: UUID) -> AccountantGrant:
    rows = access.scope(AccountantGrant.objects.filter(pk=grant_id))
    found = rows.first()
    if found is None:
        raise NotVisibleError("no such grant")
    return AccountantGrant.objects.select_for_update().get(pk=found.pk)


def enter(*, firm_id: UUID, grant_id: UUID, code: str) -> AccountantGrant | None:
    """Use a code: the grant, or None for a wrong code and for every grant that is not open.

    Of two at a time with the same code one enters. The fifth wrong code in all
    revokes the grant. The caller must let the transaction commit in both cases.
    """
    access = Access.system(firm_id, "accountant's code", "desk")
    with access.opened():
        row = AccountantGrant.objects.select_for_update().filter(pk=grant_id).first()
        held = row.code_digest if row else ""
        same = hmac.compare_digest(held, digest_of(grant_id, code.strip()))
        if row is None or row.revoked_at is not None or row.membership_id is not None:
            return None
        if row.expires_at <= database_now() or row.uses >= row.max_uses or not held:
            return None
        if not same:
            row.wrong_codes += 1
            if row.wrong_codes >= WRONG_AT_MOST:
                row.revoked_at, row.code_digest = database_now(), ""
            row.save(update_fields=["wrong_codes", "revoked_at", "code_digest"])
            _note(access, "grant.wrong_code", row, {"wrong": row.wrong_codes})
            return None
        row.uses += 1
        row.code_digest = ""
        row.save(update_fields=["uses", "code_digest"])
        _note(access, "grant.enter", row, {"use": row.uses})
    return row


def _note(access: Access, action: str, row: AccountantGrant, detail: dict[str, object]) -> None:
    audit.record(access, action, object_type="grant", object_id=row.pk, detail=detail)
