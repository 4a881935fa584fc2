"""Who the household is and what is intended, as tables.

`Household` is the one row that changes (who advises it, its name). Everything
it consists of hangs on a `HouseholdVersion`: versions are added, never edited.
"""

from config.database.base import FirmOwned, ScopedManager
from planning.models.accounts import (
    Account,
    CreditLine,
    Facility,
    InvestmentAccount,
    Mortgage,
    MortgageTerm,
    Party,
)
from planning.models.admission import AccountantGrant, Invitation, InvitationPart, Sighting
from planning.models.firm import Delegation, Firm, Membership
from planning.models.household import (
    ClientAccess,
    Household,
    HouseholdVersion,
    Member,
    MemberIncome,
)
from planning.models.plan import PlanVersion
from planning.models.prime import PrimeRate

__all__ = [
    "Account",
    "AccountantGrant",
    "ClientAccess",
    "CreditLine",
    "Delegation",
    "Facility",
    "Firm",
    "FirmOwned",
    "Household",
    "HouseholdVersion",
    "InvestmentAccount",
    "Invitation",
    "InvitationPart",
    "Member",
    "MemberIncome",
    "Membership",
    "Mortgage",
    "MortgageTerm",
    "Party",
    "PlanVersion",
    "PrimeRate",
    "ScopedManager",
    "Sighting",
]
