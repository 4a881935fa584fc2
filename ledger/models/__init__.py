"""What happened, as tables: files, statements, uses of draws."""

from ledger.models.statements import SourceFile, Statement, StatementEntry, StatementRate
from ledger.models.uses import DrawUse, EvidenceRef, UseSplit

__all__ = [
    "DrawUse",
    "EvidenceRef",
    "SourceFile",
    "Statement",
    "StatementEntry",
    "StatementRate",
    "UseSplit",
]
