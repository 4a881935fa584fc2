"""What a person typed on the plan's pages, as values of the core; in both languages' figures.

A field left empty asks for nothing. What cannot be read becomes a `Refusal` like
those of the core, so that a page lists everything at once.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, cast

from planning.core.money import cents_from_text
from planning.core.renewal_offers import MOST_OFFERS, Offer
from planning.core.types import TermKind
from planning.core.whatif import Change
from planning.core.whatif_refusals import Refusal
from planning.services.plan_versions import LONGEST_REASON

_PERCENT = re.compile(r"[+-]?([0-9]{1,4}(\.[0-9]{1,6})?|\.[0-9]{1,6})\Z")
_GROUPED = re.compile(r"[0-9]{1,3}(,[0-9]{3})+\Z")
_YEARS = re.compile(r"[0-9]{1,2}\Z")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_SPACES = dict.fromkeys(map(ord, " \u00a0\u202f$%"), None) | {0x2212: "-"}
KINDS: tuple[TermKind, ...] = ("fixed", "adjustable", "static")
REFUNDS = ("prepay", "invest", "keep")
CHANGE_FIELDS = (
    *("since", "mortgage", "rate_now", "rate_at_renewal", "prime_shift", "growth"),
    *("total_yield", "share", "once", "once_on", "yearly", "yearly_from", "refund"),
)
OFFER_FIELDS = ("name", "kind", "years", "rate", "payment")
Query = Mapping[str, Any]


class Reader:
    """Reads the fields of one form; `refused` gathers what cannot be read."""

    def __init__(self, query: Query) -> None:
        self.query = query
        self.refused: list[Refusal] = []

    def text(self, name: str) -> str:
        """A field as typed, without the spaces around it, at most 200 characters."""
        return str(self.query.get(name, "")).replace("\x00", "").strip()[:200]

    def refuse(self, name: str, code: str) -> None:
        """Note that a field cannot be taken."""
        self.refused.append(Refusal(name, code, (("value", self.text(name)[:40]),)))

    def fraction(self, name: str) -> Decimal | None:
        """A percentage as a decimal fraction: "4,89 %" is 0.0489."""
        text = self.text(name).translate(_SPACES).replace(",", ".")
        if not text:
            return None
        if not _PERCENT.match(text):
            self.refuse(name, "not-a-number")
            return None
        return Decimal(text).scaleb(-2)

    def cents(self, name: str) -> int | None:
        """An amount in cents, with the separators of either language."""
        text = self.text(name).translate(_SPACES)
        if not text:
            return None
        if _GROUPED.match(text.partition(".")[0]):
            text = text.replace(",", "")
        try:
            return cents_from_text(text.replace(",", "."))
        except ValueError:
            self.refuse(name, "not-an-amount")
            return None

    def day(self, name: str) -> date | None:
        """A date as browsers send it."""
        text = self.text(name)
        if not text:
            return None
        try:
            if not _DAY.match(text):
                raise ValueError(text)
            return date.fromisoformat(text)
        except ValueError:
            self.refuse(name, "not-a-day")
            return None

    def choice(self, name: str, known: Sequence[str]) -> str | None:
        """One of the known words."""
        text = self.text(name)
        if not text:
            return None
        if text not in known:
            self.refuse(name, "not-a-choice")
            return None
        return text


@dataclass(frozen=True, slots=True)
class ChangeForm:
    """The what-if form as sent: the values typed, the change they ask for, what is refused."""

    typed: dict[str, str]
    change: Change
    refused: tuple[Refusal, ...]


def read_change(query: Query, since: date) -> ChangeForm:
    """Read the what-if form; `since` stands in for a day left empty."""
    reader = Reader(query)
    refund = reader.choice("refund", REFUNDS)
    change = Change(
        since=reader.day("since") or since,
        mortgage=reader.text("mortgage"),
        rate_now=reader.fraction("rate_now"),
        rate_at_renewal=reader.fraction("rate_at_renewal"),
        prime_shift=reader.fraction("prime_shift"),
        growth=reader.fraction("growth"),
        total_yield=reader.fraction("total_yield"),
        share=reader.fraction("share"),
        once_cents=reader.cents("once"),
        once_on=reader.day("once_on"),
        yearly_cents=reader.cents("yearly"),
        yearly_from=reader.day("yearly_from"),
        refund=cast("Any", refund),
    )
    typed = {name: reader.text(name) for name in CHANGE_FIELDS}
    return ChangeForm(typed, change, tuple(reader.refused))


@dataclass(frozen=True, slots=True)
class OffersForm:
    """The offers form as sent; `places` says which row each offer stands in (from 1)."""

    typed: tuple[dict[str, str], ...]
    mortgage: str
    on: date | None
    offers: tuple[Offer, ...]
    places: tuple[int, ...]
    refused: tuple[Refusal, ...]


def read_offers(query: Query) -> OffersForm:
    """Read up to four offers; a row without a rate, name or payment is left out."""
    reader = Reader(query)
    typed: list[dict[str, str]] = []
    offers: list[Offer] = []
    places: list[int] = []
    for place in range(1, MOST_OFFERS + 1):
        names = {field: f"{field}{place}" for field in OFFER_FIELDS}
        typed.append({field: reader.text(name) for field, name in names.items()})
        if not any(typed[-1][field] for field in ("rate", "payment", "name")):
            continue
        kind = cast("TermKind", reader.choice(names["kind"], KINDS) or "fixed")
        years = typed[-1]["years"] or "5"
        if not _YEARS.match(years):
            reader.refuse(names["years"], "not-a-year")
            years = "5"
        value = reader.fraction(names["rate"])
        offers.append(
            Offer(
                name=typed[-1]["name"][:40],
                kind=kind,
                years=int(years),
                rate=value if kind == "fixed" else None,
                spread=None if kind == "fixed" else value,
                payment_cents=reader.cents(names["payment"]),
            )
        )
        places.append(place)
    return OffersForm(
        typed=tuple(typed),
        mortgage=reader.text("mortgage"),
        on=reader.day("on"),
        offers=tuple(offers),
        places=tuple(places),
        refused=tuple(reader.refused),
    )


def read_keeping(query: Query) -> tuple[str, int, tuple[Refusal, ...]]:
    """The reason, the version a new one rests on (-1 when it makes no sense), what is refused."""
    refused: list[Refusal] = []
    reason = str(query.get("reason", "")).replace("\x00", "").strip()
    if not reason:
        refused.append(Refusal("reason", "no-reason"))
    if len(reason) > LONGEST_REASON:
        refused.append(Refusal("reason", "long-reason"))
    if query.get("confirm") != "yes":
        refused.append(Refusal("confirm", "not-confirmed"))
    base = str(query.get("based_on", ""))
    based_on = int(base) if base.isdecimal() and len(base) < 7 else -1
    return reason, based_on, tuple(refused)
