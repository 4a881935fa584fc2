"""What a token may be allowed, and which acts of the firm's rules each scope opens."""

from __future__ import annotations

from collections.abc import Mapping

from planning.access import ACTIONS

# A scope never gives more than the member's role: both are asked.
SCOPES: Mapping[str, tuple[str, ...]] = {
    "read:household": ("household.view", "books.export"),
    "read:ledger": ("month.view", "evidence.view", "job.view"),
    "read:finding": ("finding.view",),
    "read:plan": ("plan.view", "tax.compute"),
    "read:packet": ("packet.view",),
    "write:household": ("household.edit",),
    "write:statement": ("statement.import",),
    "write:use": ("use.decide", "evidence.add"),
    "write:close": ("month.close",),
    "write:finding": ("finding.work", "finding.accept"),
    "write:plan": ("plan.edit",),
    "write:packet": ("packet.issue",),
}


def scopes_of_role(role: str) -> tuple[str, ...]:
    """The scopes that mean anything for a role."""
    return tuple(
        scope
        for scope, actions in SCOPES.items()
        if any(role in ACTIONS[action] for action in actions)
    )
