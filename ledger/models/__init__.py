"""What happened: files, statements, uses, closes, findings, as rows of a firm."""

from ledger.models.statements import (
    DrawUse,
    EvidenceRef,
    KnownAccount,
    SourceFile,
    Statement,
    StatementEntry,
    StatementRate,
    UseSplit,
)

__all__ = [
    "DrawUse",
    "EvidenceRef",
    "KnownAccount",
    "SourceFile",
    "Statement",
    "StatementEntry",
    "StatementRate",
    "UseSplit",
]
