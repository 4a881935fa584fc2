"""What happened, as tables: files, statements, uses of draws, closes, findings, jobs."""

from ledger.models.closes import HouseholdMonth, MonthClose
from ledger.models.evidence import EvidenceContent, EvidencePaper
from ledger.models.findings import Finding, FindingEvent
from ledger.models.identifiers import AccountIdentifier
from ledger.models.jobs import Job
from ledger.models.standing import HouseholdStanding, HouseholdWord, StandingCount
from ledger.models.statements import SourceFile, Statement, StatementEntry, StatementRate
from ledger.models.uses import DrawUse, EvidenceRef, UseSplit

__all__ = [
    "AccountIdentifier",
    "DrawUse",
    "EvidenceContent",
    "EvidencePaper",
    "EvidenceRef",
    "Finding",
    "FindingEvent",
    "HouseholdMonth",
    "HouseholdStanding",
    "HouseholdWord",
    "Job",
    "MonthClose",
    "SourceFile",
    "StandingCount",
    "Statement",
    "StatementEntry",
    "StatementRate",
    "UseSplit",
]
