"""One loaded plan played alone, in plain whole numbers: the answer for a page.

The arrays pay the same for one plan as for hundreds; here a month is a handful of
Python operations on the record the arrays load. Only plans of the usual kind are
played: line interest paid in full each month, all of the line eligible, a 365-day
basis, no extras and no opening draw. `play_one` answers None for the others, and where
a rate cut off at loading cannot decide a rounding.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from planning.core.kernel.calendar import days_of_month
from planning.core.kernel.exact import FIXED, MONTHLY, PAYMENT, SHORT
from planning.core.kernel.family import RATE_PLACES, TAX_PLACES
from planning.core.kernel.loading import (
    CASH,
    DRAW,
    NAMES,
    NO_RULE,
    PREPAY,
    PROPORTIONAL,
    REFUND_INVESTED,
    REFUND_PREPAID,
    REINVEST,
    Loaded,
)
from planning.core.kernel.sums import CLOSING, TOTALS
from planning.core.money import round_ratio
from planning.core.types import YIELD_KINDS

_YEAR = 365 * 10**RATE_PLACES


@dataclass(frozen=True, slots=True)
class One:
    """What one plan comes to: totals, closing figures, and its months where asked for.

    Amounts in cents; `rows` holds one tuple a month in the order of ROW_KEYS.
    """

    totals: dict[str, int]
    closing: dict[str, int]
    rows: list[tuple[int, ...]]


def play_alone(loaded: Loaded, *, months_wanted: bool = False) -> Iterator[One | None]:
    """Play each loaded plan by itself; None for those that are not of the usual kind."""
    changes: list[dict[int, tuple[int, int, int]]] = [{} for _ in range(loaded.size)]
    steps: list[dict[int, tuple[int, int]]] = [{} for _ in range(loaded.size)]
    for place, month, rate, stated, factor in loaded.changes.tolist():
        changes[place][month] = rate, stated, factor
    for place, month, day, rate in loaded.steps.tolist():
        steps[place][month] = day, rate
    with_extras = set(loaded.extras[:, 0].tolist())
    for place, values in enumerate(loaded.table.T.tolist()):
        record = dict(zip(NAMES, values, strict=True))
        if place in with_extras or not is_usual(record):
            yield None
        else:
            yield play_one(record, changes[place], steps[place], months_wanted=months_wanted)


def is_usual(record: dict[str, int]) -> bool:
    """Whether a plan without extras is of the usual kind."""
    unusual = record["mode"] == DRAW or record["mixed"] or record["actual"]
    return not (unusual or record["opening_draw"])


@lru_cache(maxsize=256)
def _calendar(start: int, months: int, pay_day: int) -> tuple[tuple[int, int, int], ...]:
    """(calendar month from 0, payment day, last day) of each month."""
    found = []
    for at in range(start, start + months):
        last = days_of_month(at)
        found.append((at % 12, min(pay_day, last), last))
    return tuple(found)


def _shortened(numerator: int, denominator: int) -> tuple[int, int, int]:
    """A rate as (numerator, half, denominator) in small numbers; the denominator stays even."""
    common = math.gcd(numerator, denominator // 2)
    return numerator // common, denominator // common // 2, denominator // common


def play_one(  # noqa: C901 - one flat loop: a call a step would double its time
    record: dict[str, int],
    changes: dict[int, tuple[int, int, int]],
    steps: dict[int, tuple[int, int]],
    *,
    months_wanted: bool = False,
) -> One | None:
    """Play one usual plan without extras; None where a cut-off rate decides no rounding.

    `changes` are (rate, payment or 0, factor or 0) and `steps` (day, rate of the line)
    by month of the plan. The order of steps is that of `planning.core.plan`.
    """
    mortgage, payment, privilege = record["mortgage"], record["payment"], record["privilege"]
    rate, simple = record["rate"], record["simple"]
    num, half, den = _shortened(rate, MONTHLY) if simple else (rate, FIXED // 2, FIXED)
    cut = 0 if simple else 2
    wait = record["first"] - record["start"]
    final = wait + record["contractual"] - 1
    excess, rule = record["excess"], record["rule"]
    cap65, registered = record["cap65"], record["registered"]
    line_cap, reserve = record["line_cap"], record["reserve"]
    if rule == NO_RULE:
        cap65, excess = cap65 + excess, 0
    line = record["eligible"]
    line_rate, line_cash = record["line_rate"], record["mode"] == CASH
    share, share_half, share_den = _shortened(record["share"], SHORT)
    value, held, left = record["value"], 0, privilege
    growth, falls = record["growth"], record["falls"]
    kinds = [kind for kind in YIELD_KINDS if record[f"yield_{kind}"]]
    taxes = [record["ordinary"], *(record[f"tax_{kind}"] for kind in kinds)]
    tax_common = math.gcd(10**TAX_PLACES, *taxes)
    yields = [
        (*_shortened(record[f"yield_{kind}"], MONTHLY), record[f"tax_{kind}"] // tax_common)
        for kind in kinds
    ]
    ordinary, tax_scale = record["ordinary"] // tax_common, 10**TAX_PLACES // tax_common
    reinvests, holds = record["route"] == REINVEST, record["route"] == PREPAY
    prepays_refund = record["refund_to"] == REFUND_PREPAID
    invests_refund = record["refund_to"] == REFUND_INVESTED
    refund_at = record["refund_month"] - 1
    saving = deducted = taxed = 0
    interest_sum = line_sum = draw_sum = prepaid_sum = refund_sum = refused_sum = 0
    rows: list[tuple[int, ...]] = []
    events = changes.keys() | steps.keys()
    last_month = record["months"] - 1
    month = -1
    for number, day, last in _calendar(record["start"], record["months"], record["pay_day"]):
        month += 1
        eventful = month in events
        mortgage_opening, line_opening = mortgage, line
        # Growth and distributions of the value the month opens with.
        product = value * growth + FIXED // 2
        grown = product >> 61
        if (product + 2 * value) >> 61 != grown:
            return None
        if falls:
            grown = -grown
        coming = 0
        for yield_num, yield_half, yield_den, tax in yields:
            paid = (value * yield_num + yield_half) // yield_den
            coming += paid
            taxed += paid * tax
        value += grown
        if reinvests:
            value += coming
        if number == 0:
            left = privilege
        # The payment.
        interest = paid = principal = freed = prepaid = refund = refused = invested = 0
        paying = mortgage > 0 and month >= wait
        if eventful and month in changes:
            rate, stated, factor = changes[month]
            num, half, den = _shortened(rate, MONTHLY) if simple else (rate, FIXED // 2, FIXED)
            product = mortgage * num + half
            interest = product // den
            if cut and (product + 2 * mortgage) // den != interest:
                return None
            if stated:
                payment = stated
            elif factor:
                product = mortgage * factor + PAYMENT // 2
                payment = product // PAYMENT
                if (product + 2 * mortgage) // PAYMENT != payment:
                    return None
            else:
                payment = mortgage + interest
            if mortgage and payment <= interest:
                return None
            interest = 0
        if paying:
            product = mortgage * num + half
            interest = product // den
            if cut and (product + 2 * mortgage) // den != interest:
                return None
            owed = mortgage + interest
            paid = payment
            if paid > owed or (month >= final and owed < 2 * payment):
                paid = owed
            principal = paid - interest
            if principal > 0:
                freed = principal
                if excess:
                    sent = freed if freed < excess else excess
                    if rule == PROPORTIONAL:
                        sent = min(sent, round_ratio(freed * excess, mortgage))
                    excess -= sent
                    freed -= sent
            mortgage -= principal
        # What prepays: the refund, then the distributions held.
        if number == refund_at and saving:
            refund = saving
            if saving > 0 and invests_refund:
                value += saving
                invested = saving
        offers: tuple[int, ...] = ()
        if refund > 0 and prepays_refund:
            offers = (refund, held) if paying else ()
            if not paying:
                refused = refund
        elif paying and held:
            offers = (held,)
        for offer in offers:
            taken = left if left < mortgage else mortgage
            if offer < taken:
                taken = offer
            refused += offer - taken
            if taken:
                left -= taken
                prepaid += taken
                freed += taken
                if excess:
                    sent = taken if taken < excess else excess
                    if rule == PROPORTIONAL:
                        sent = min(sent, round_ratio(taken * excess, mortgage))
                    excess -= sent
                    freed -= sent
                mortgage -= taken
        if paying:
            held = 0
        # The re-borrow.
        limit = cap65 + excess
        if registered < limit:
            limit = registered
        limit -= mortgage
        if line_cap < limit:
            limit = line_cap
        room = limit - line - reserve
        draw = (freed * share + share_half) // share_den if share != share_den else freed
        if room < draw:
            draw = room if room > 0 else 0
        # The last day: the nights before the draw and after it, then the posting.
        since = 0 if month else 1
        if eventful and month in steps:
            turn, turned = steps[month]
            before = min(max(turn, since), day)
            after = min(max(turn, day), last)
            weight = line * (line_rate * (before - since) + turned * (day - before))
            weight += (line + draw) * (line_rate * (after - day) + turned * (last - after))
            line_rate = turned
        else:
            weight = ((line + draw) * (last - since) - draw * (day - since)) * line_rate
        posted = (weight + _YEAR // 2) // _YEAR
        line += draw
        if not line_cash:
            line += posted
        value += draw
        if holds:
            held += coming
        deducted += posted
        interest_sum += interest
        line_sum += posted
        draw_sum += draw
        prepaid_sum += prepaid
        refund_sum += refund
        refused_sum += refused
        if months_wanted:
            standing = limit if limit > 0 else 0
            interest_draw = 0 if line_cash else posted
            rows.append(
                (mortgage_opening, paid, interest, principal, prepaid, mortgage, freed, draw,
                 interest_draw, line_opening, posted, posted, line, line, 0, 0, posted,
                 draw + invested, grown, coming, value, refund, standing,
                 standing - line if standing > line else 0, refused, 0)
            )  # fmt: skip
        if number == 11 or month == last_month:
            saving = round_ratio(ordinary * deducted - taxed, tax_scale)
            deducted = taxed = 0
    totals = (interest_sum, line_sum, line_sum, draw_sum, prepaid_sum, refund_sum, refused_sum)
    closing = (mortgage, line, line, 0, 0, value)
    return One(
        dict(zip(TOTALS, totals, strict=True)), dict(zip(CLOSING, closing, strict=True)), rows
    )
