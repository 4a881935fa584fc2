"""Who may see and do what: the only judge.

An `Access` is one person's (or the system's) standing in one firm. Querysets,
single households and permissions are asked of it and of nothing else. What is
absent and what is forbidden look the same from outside: both are not found.
Row-level security stands behind it as a second fence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Model, Q, QuerySet
from django.db.models.functions import Now
from django.http import Http404

from config.database import firm_scope, user_scope
from planning.models import AccountantGrant, ClientAccess, Delegation, Household, Membership

STAFF = frozenset({"principal", "advisor", "assistant", "system"})

# Role by action. What is not listed is refused. An accountant sees households and years
# that a grant names, and nothing until one does.
ACTIONS: Mapping[str, frozenset[str]] = {
    "household.view": frozenset({"principal", "advisor", "assistant", "client", "system"}),
    "household.edit": frozenset({"principal", "advisor", "system"}),
    "statement.import": frozenset({"principal", "advisor", "assistant", "system"}),
    "use.decide": frozenset({"principal", "advisor", "system"}),
    "evidence.add": frozenset({"principal", "advisor", "assistant", "system"}),
    "evidence.view": frozenset({"principal", "advisor", "assistant", "system"}),
    "month.close": frozenset({"principal", "advisor", "system"}),
    "month.view": frozenset({"principal", "advisor", "assistant", "client", "system"}),
    "finding.accept": frozenset({"principal", "advisor", "system"}),
    "finding.work": frozenset({"principal", "advisor", "assistant", "system"}),
    "finding.view": frozenset({"principal", "advisor", "assistant", "system"}),
    "trace.view": STAFF,
    "trace.year": STAFF | {"accountant"},
    "books.export": STAFF,
    "plan.view": STAFF,
    "plan.edit": frozenset({"principal", "advisor", "system"}),
    "packet.issue": frozenset({"principal", "advisor", "system"}),
    "packet.view": frozenset(
        {"principal", "advisor", "assistant", "client", "accountant", "system"}
    ),
    "job.view": frozenset({"principal", "advisor", "assistant", "system"}),
    "people.manage": frozenset({"principal", "system"}),
    "firm.edit": frozenset({"principal", "system"}),
    "view.save": frozenset({"principal", "advisor", "assistant"}),
    "audit.view": frozenset({"principal", "system"}),
    "grant.manage": frozenset({"principal", "advisor", "system"}),
    "grant.own": frozenset({"accountant"}),
    "sighting.view": STAFF | {"client"},
    "notice.own": frozenset({"principal", "advisor", "assistant"}),
    "message.manage": frozenset({"principal", "system"}),
    "token.own": frozenset({"principal", "advisor", "assistant", "client"}),
    "tax.compute": STAFF,
}


class NotVisibleError(Http404):
    """There is no such row for whoever asks; a page answers 404."""


@dataclass(frozen=True, slots=True)
class Access:
    """One standing in one firm. Use it inside `opened()` or a request, which opens it."""

    firm_id: UUID
    role: str
    actor: str
    channel: str
    user_id: UUID | None = None
    membership_id: UUID | None = None
    grant_id: UUID | None = None

    @classmethod
    def for_user(cls, user: Any, channel: str = "desk") -> Access | None:
        """The access of a signed-in user by their oldest active membership; None without one."""
        if not getattr(user, "is_authenticated", False) or not user.is_active:
            return None
        with user_scope(user.pk):
            found = (
                Membership.objects.filter(user_id=user.pk, active=True)
                .order_by("recorded_at", "pk")
                .first()
            )
        if found is None:
            return None
        return cls._of(found, user, channel)

    @classmethod
    def for_member(cls, member: Membership, channel: str = "worker") -> Access | None:
        """The access of a member of the firm in scope; None once they or their login are off."""
        if not member.active or not member.user.is_active:
            return None
        return cls._of(member, member.user, channel)

    @classmethod
    def _of(cls, member: Membership, user: Any, channel: str) -> Access:
        return cls(
            firm_id=member.firm_id,
            role=member.role,
            actor=user.email,
            channel=channel,
            user_id=user.pk,
            membership_id=member.pk,
        )

    @classmethod
    def system(cls, firm_id: UUID | str, reason: str, channel: str = "command") -> Access:
        """The access of a command or a task: the whole firm, with the reason for the trail."""
        assert reason, "the trail needs a reason"
        return cls(firm_id=UUID(str(firm_id)), role="system", actor=reason, channel=channel)

    @classmethod
    def for_grant(cls, firm_id: UUID, grant_id: UUID) -> Access | None:
        """The access of somebody who came in by a grant's code; None once the grant is over."""
        with firm_scope(firm_id):
            rows = live_grants().filter(pk=grant_id, membership__isnull=True)
            found = rows.first()
        if found is None:
            return None
        actor = f"{found.name} <{found.email}>"
        return cls(firm_id, "accountant", actor, "desk", grant_id=grant_id)

    @contextmanager
    def opened(self) -> Iterator[Access]:
        """A transaction in the firm's scope."""
        with firm_scope(self.firm_id):
            yield self

    # -- what may be done -------------------------------------------------------

    def can(self, action: str) -> bool:
        """Whether the role may do this at all. Raises KeyError for an unknown action."""
        return self.role in ACTIONS[action]

    def require(self, action: str) -> None:
        """Raise PermissionDenied unless the role may do this."""
        if not self.can(action):
            raise PermissionDenied(f"the role {self.role} may not {action}")

    # -- what may be seen -------------------------------------------------------

    def households(self) -> QuerySet[Household]:
        """The households in view: the firm's, the advisor's book, the client's own."""
        rows = Household.objects.filter(firm_id=self.firm_id)
        if self.role in ("principal", "system"):
            return rows
        if self.role == "advisor":
            return rows.filter(advisor_id=self.membership_id)
        if self.role == "assistant":
            named = Delegation.objects.filter(assistant_id=self.membership_id)
            return rows.filter(advisor_id__in=named.values("advisor_id"))
        if self.role == "client":
            own = ClientAccess.objects.filter(membership_id=self.membership_id)
            return rows.filter(pk__in=own.values("household_id"))
        if self.role == "accountant":
            return rows.filter(pk__in=self.grants().values("household_id"))
        return rows.none()

    def grants(self) -> QuerySet[AccountantGrant]:
        """An accountant's own grants that are in force now; nobody else has any."""
        rows = live_grants().filter(firm_id=self.firm_id)
        if self.role != "accountant":
            return rows.none()
        if self.grant_id is not None:
            return rows.filter(pk=self.grant_id)
        return rows.filter(membership_id=self.membership_id, membership__isnull=False)

    def require_year(self, household: Household, year: int | None) -> None:
        """Raise NotVisibleError for a year of a household that an accountant was not granted.

        What is of no year, such as a proposal (None), is granted to no accountant.
        """
        if self.role != "accountant":
            return
        if not self.grants().filter(household_id=household.pk, year=year).exists():
            raise NotVisibleError("no such year")

    def books(self) -> QuerySet[Any] | tuple[UUID | None, ...] | None:
        """Whose households are in view, for rows that carry their household's advisor.

        None is the whole firm; else ids of members, perhaps none. Says the same as
        `households`, but lets the database walk an index that starts with the advisor.
        """
        if self.role in ("principal", "system"):
            return None
        if self.role == "advisor":
            return (self.membership_id,)
        if self.role == "assistant":
            named = Delegation.objects.filter(assistant_id=self.membership_id)
            return named.values("advisor_id")
        return ()

    def scope(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """The rows of a queryset that are in view.

        Rows that belong to a household follow it; rows of the firm as a whole
        are for its staff, the trail for the principal.
        """
        model = queryset.model
        rows = queryset.filter(firm_id=self.firm_id)
        path = household_path(model)
        if path is None:
            seen = STAFF if model._meta.label != "config.AuditEvent" else ACTIONS["audit.view"]
            return rows if self.role in seen else rows.none()
        if self.role in ("principal", "system"):
            return rows
        return rows.filter(**{f"{path}__in": self.households().values("pk")})

    def household(self, ref: str | UUID, *, lock: bool = False) -> Household:
        """The household of a reference or id. Raises NotVisibleError if it is not in view.

        With `lock`, other writers of this household wait until the transaction ends.
        """
        rows = self.households()
        found = rows.filter(_named(ref)).order_by("pk").first()
        if found is None:
            raise NotVisibleError("no such household")
        if lock:
            return Household.objects.select_for_update(no_key=True).get(pk=found.pk)
        return found


def live_grants() -> QuerySet[AccountantGrant]:
    """Grants neither revoked nor over, by the database's clock, in the firm's scope."""
    return AccountantGrant.objects.filter(revoked_at__isnull=True, expires_at__gt=Now())


def _named(ref: str | UUID) -> Q:
    try:
        return Q(pk=UUID(str(ref))) | Q(ref=str(ref))
    except ValueError:
        return Q(ref=str(ref))


@cache
def household_path(model: type[Model]) -> str | None:
    """The lookup from a model to the household its rows belong to; None for the firm's own."""
    if model is Household:
        return "pk"
    level: list[tuple[str, type[Model]]] = [("", model)]
    seen: set[type[Model]] = {model}
    while level:
        following: list[tuple[str, type[Model]]] = []
        for path, one in level:
            for field in one._meta.local_fields:
                target = field.related_model if field.is_relation else None
                if target is Household:
                    return f"{path}{field.name}"
                if isinstance(target, type) and target not in seen:
                    seen.add(target)
                    following.append((f"{path}{field.name}__", target))
        level = following
    return None
