"""Who the household is and what is intended, as rows of a firm."""

from planning.models.household import (
    CreditLine,
    Facility,
    Household,
    InvestmentAccount,
    Member,
    Mortgage,
    MortgageTerm,
    PlanVersion,
    PrimeRate,
)
from planning.models.owned import FirmManager, FirmOwned, RateField
from planning.models.people import Assistance, Firm, Membership

__all__ = [
    "Assistance",
    "CreditLine",
    "Facility",
    "Firm",
    "FirmManager",
    "FirmOwned",
    "Household",
    "InvestmentAccount",
    "Member",
    "Membership",
    "Mortgage",
    "MortgageTerm",
    "PlanVersion",
    "PrimeRate",
    "RateField",
]
