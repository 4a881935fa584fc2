"""Words of statements in English and French, and the kind of entry they say.

Inference goes from the strongest sign to the weakest: an explicit kind, the
bank's transaction type, the words of the description, the direction in which
the posting moves the balance. docs/reference/statement-import.md has the table.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from planning.core.household_parts import AccountType


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """Small letters, no accents, words separated by single spaces."""
    bare = unicodedata.normalize("NFKD", text.casefold().replace("œ", "oe"))
    return " ".join(re.findall(r"[a-z0-9]+", bare.encode("ascii", "ignore").decode()))


def _words(*phrases: str) -> re.Pattern[str]:
    return re.compile(r"\b(?:" + "|".join(phrases) + r")\b")


_INTEREST = _words("interests?", "interets?")
_FEE = _words("fees?", "frais", "service charges?", "charges?", "penalty", "penalite", "honoraires")
_ADVANCE = _words(
    "advances?", "avances?", "readvance", "disbursements?", "deboursements?", "draws?"
)
_PREPAYMENT = _words(
    "pre ?payments?",
    "lump sum",
    "extra payments?",
    "additional payments?",
    "principal payments?",
    "(?:remboursements?|versements?|paiements?) anticipes?",
    "(?:versements?|paiements?) (?:supplementaires?|forfaitaires?)",
    "remboursement de capital",
)
_REPAYMENT = _words(
    "payments?", "repayments?", "paiements?", "remboursements?", "versements?", "credits?"
)
_BUY = _words("buys?", "bought", "purchases?", "achats?")
_SELL = _words("sells?", "sold", "sales?", "ventes?", "redemptions?", "rachats?")
_DISTRIBUTION = _words("dividends?", "dividendes?", "distributions?", "interests?", "interets?")
_CAPITAL = _words("returns? of capital", "re(?:mboursements?|tours?) de capital", "roc", "rdc")
_REINVESTED = _words("reinvest\\w*", "drip")
_IN_KIND = _words("in kind", "en nature")
_REGISTERED = _words("rrsp", "reer", "tfsa", "celi", "fhsa", "celiapp", "resp", "reee", "rdsp")
_MORTGAGE = _words("mortgage", "hypotheque", "pret hypothecaire")
_LINE = _words("line of credit", "credit line", "heloc", "marge", "marge de credit")
_FOREIGN = _words("foreign", "etranger\\w*", "us dividends?")
_OTHER_DIVIDEND = _words(
    "non eligible", "other than eligible", "ordinary dividends?", "non determines?"
)
_GAIN = _words("capital gains?", "gains? en capital")
_INCOME = _words("dividends?", "dividendes?", "distributions?", "income", "revenus?", "interets?")


@dataclass(frozen=True, slots=True)
class Signs:
    """What a posting tells about itself.

    `up`: the posting raises the balance (what is owed, or what the account
    holds). `type`: the bank's transaction type in capitals, or "". `words`: the
    description through `plain`.
    """

    up: bool
    type: str
    words: str


@dataclass(frozen=True, slots=True)
class Said:
    """An inferred kind with the optional fields the words decide."""

    kind: str
    of: str | None = None
    paid: str | None = None
    to: str | None = None


def infer(account: AccountType | None, signs: Signs) -> Said:
    """The kind of a posting on an account of this kind."""
    if account == "line":
        return Said(_line(signs))
    if account == "mortgage":
        return Said(_mortgage(signs))
    if account == "investment":
        return _investment(signs)
    return Said("credit" if signs.up else "debit")


def _line(signs: Signs) -> str:
    if not signs.up:
        return "repayment"
    if signs.type == "INT" or (signs.type in _VAGUE and _INTEREST.search(signs.words)):
        return "interest"
    if signs.type in ("FEE", "SRVCHG") or (signs.type in _VAGUE and _FEE.search(signs.words)):
        return "fee"
    return "draw"


_VAGUE = ("", "DEBIT", "OTHER", "CREDIT", "DIRECTDEBIT", "POS")
"""Types that say no more than the sign does: there the words decide."""


def _mortgage(signs: Signs) -> str:
    if signs.up:
        fee = signs.type in ("FEE", "SRVCHG", "LATE") or _FEE.search(signs.words)
        if signs.type == "INT" or _INTEREST.search(signs.words):
            return "charge"
        return "charge" if fee and not _ADVANCE.search(signs.words) else "advance"
    early = signs.type == "BALLOON" or _PREPAYMENT.search(signs.words)
    return "prepayment" if early else "payment"


def is_mortgage_interest(signs: Signs) -> bool:
    """Whether a posting is the interest that belongs to a payment of the same day."""
    return signs.up and (signs.type == "INT" or bool(_INTEREST.search(signs.words)))


def _investment(signs: Signs) -> Said:
    words = signs.words
    if _IN_KIND.search(words) and not signs.up:
        return Said("transfer-in-kind")
    if signs.up and (signs.type in ("DIV", "INT") or _is_distribution(words)):
        return Said("distribution", of=distribution_of(words), paid=paid_how(words))
    if signs.type in ("FEE", "SRVCHG") or (not signs.up and _FEE.search(words)):
        return Said("fee")
    if _BUY.search(words) and not signs.up:
        return Said("buy")
    if _SELL.search(words) and signs.up:
        return Said("sell")
    if signs.up:
        return Said("contribution")
    return Said("withdrawal", of=withdrawal_of(words), to=destination(words))


def _is_distribution(words: str) -> bool:
    return bool(_DISTRIBUTION.search(words) or _CAPITAL.search(words) or _GAIN.search(words))


def distribution_of(words: str, income_type: str = "") -> str:
    """Which kind of income a distribution is, from OFX INCOMETYPE and the words.

    A dividend that says no more is taken as an eligible one; the year's slips
    true it up.
    """
    if _CAPITAL.search(words):
        return "return_of_capital"
    if income_type in ("CGLONG", "CGSHORT") or _GAIN.search(words):
        return "capital_gain"
    if _FOREIGN.search(words):
        return "foreign"
    if income_type == "INTEREST" or (not income_type and _INTEREST.search(words)):
        return "interest"
    return "other_dividend" if _OTHER_DIVIDEND.search(words) else "eligible_dividend"


def paid_how(words: str) -> str:
    """Whether a distribution was paid in cash or reinvested."""
    return "reinvested" if _REINVESTED.search(words) else "cash"


def withdrawal_of(words: str) -> str | None:
    """What left with a withdrawal, when the words say so."""
    if _CAPITAL.search(words):
        return "return_of_capital"
    if _SELL.search(words) or "proceeds" in words or "produit" in words:
        return "proceeds"
    return "income" if _INCOME.search(words) else None


def destination(words: str) -> str:
    """Where a withdrawal went; "personal" when the words name nowhere else."""
    for pattern, name in ((_REGISTERED, "registered"), (_MORTGAGE, "mortgage"), (_LINE, "line")):
        if pattern.search(words):
            return name
    return "personal"


def raises_debt(words: str) -> bool | None:
    """Whether the words alone say that a posting raises (True) or lowers what is owed."""
    if _REPAYMENT.search(words) or _PREPAYMENT.search(words):
        return False
    if _ADVANCE.search(words) or _INTEREST.search(words) or _FEE.search(words):
        return True
    return None


KIND_WORDS: dict[AccountType, dict[str, str]] = {
    "line": {
        "draw": "draw",
        "advance": "draw",
        "avance": "draw",
        "tirage": "draw",
        "repayment": "repayment",
        "payment": "repayment",
        "paiement": "repayment",
        "remboursement": "repayment",
        "interest": "interest",
        "interet": "interest",
        "interets": "interest",
        "fee": "fee",
        "frais": "fee",
    },
    "mortgage": {
        "payment": "payment",
        "paiement": "payment",
        "versement": "payment",
        "prepayment": "prepayment",
        "remboursement anticipe": "prepayment",
        "paiement anticipe": "prepayment",
        "charge": "charge",
        "frais": "charge",
        "advance": "advance",
        "avance": "advance",
    },
    "investment": {
        "contribution": "contribution",
        "cotisation": "contribution",
        "deposit": "contribution",
        "depot": "contribution",
        "distribution": "distribution",
        "dividend": "distribution",
        "dividende": "distribution",
        "withdrawal": "withdrawal",
        "retrait": "withdrawal",
        "transfer in kind": "transfer-in-kind",
        "transfert en nature": "transfer-in-kind",
        "buy": "buy",
        "purchase": "buy",
        "achat": "buy",
        "sell": "sell",
        "sale": "sell",
        "vente": "sell",
        "fee": "fee",
        "frais": "fee",
    },
}
"""Words of a type column that name the kind outright."""

ACCOUNT_WORDS: dict[str, AccountType] = {
    "line": "line",
    "line of credit": "line",
    "credit line": "line",
    "heloc": "line",
    "marge": "line",
    "marge de credit": "line",
    "marge de credit hypothecaire": "line",
    "mortgage": "mortgage",
    "hypotheque": "mortgage",
    "pret hypothecaire": "mortgage",
    "investment": "investment",
    "investment account": "investment",
    "placement": "investment",
    "placements": "investment",
    "compte de placement": "investment",
}


def joined(parts: Iterable[str]) -> str:
    """Name and memo as one description: spaces collapsed, repeats dropped."""
    kept: list[str] = []
    for part in parts:
        text = " ".join(part.split())
        if text and not any(text in other for other in kept):
            kept.append(text)
    return " ".join(kept)[:500]
