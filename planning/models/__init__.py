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
from planning.models.api import ApiToken, StoredAnswer
from planning.models.drafts import HouseholdDraft
from planning.models.firm import Delegation, Firm, FirmSettings, Membership
from planning.models.household import (
    ClientAccess,
    Household,
    HouseholdVersion,
    Member,
    MemberGain,
    MemberIncome,
)
from planning.models.plan import PlanVersion
from planning.models.prime import PrimeRate
from planning.models.suitability import LeverageAssessment, LeverageDisclosure

__all__ = [
    "Account",
    "AccountantGrant",
    "ApiToken",
    "ClientAccess",
    "CreditLine",
    "Delegation",
    "Facility",
    "Firm",
    "FirmOwned",
    "FirmSettings",
    "Household",
    "HouseholdDraft",
    "HouseholdVersion",
    "InvestmentAccount",
    "Invitation",
    "InvitationPart",
    "LeverageAssessment",
    "LeverageDisclosure",
    "Member",
    "MemberGain",
    "MemberIncome",
    "Membership",
    "Mortgage",
    "MortgageTerm",
    "Party",
    "PlanVersion",
    "PrimeRate",
    "ScopedManager",
    "Sighting",
    "StoredAnswer",
]
