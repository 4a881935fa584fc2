"""The plain plan by numpy-financial, a vector over the households, amounts as floats.

It is how a spreadsheet user would write it with that library. Rounded floats
are nearly right: the bench counts the households that come out different.
"""

from __future__ import annotations

import numpy as np
import numpy_financial as npf

from planning.core.kernel.calendar import days_of
from planning.core.kernel.exact import FIXED, MONTHLY, Floats
from planning.core.kernel.loading import Loaded


def cents(values: Floats) -> Floats:
    """Rounded to the cent, halves away from zero."""
    return np.copysign(np.floor(np.abs(values) + 0.5), values)


def project(loaded: Loaded) -> Floats:
    """The figures of KEYS by household."""
    named = {name: loaded.column(name).astype(float) for name in (
        "mortgage", "payment", "contractual", "excess", "cap65", "line_cap", "registered",
        "privilege", "reserve", "yield_eligible_dividend", "yield_foreign",
    )}  # fmt: skip
    start, due = loaded.column("start"), loaded.column("refund_month") - 1
    rate = loaded.column("rate") / float(FIXED)
    mortgage, payment, excess = named["mortgage"], named["payment"], named["excess"]
    line_rate, growth = loaded.column("line_rate") / 1e6, loaded.column("growth") / float(FIXED)
    ordinary = loaded.column("ordinary") / 1e8
    yields = [named["yield_eligible_dividend"] / MONTHLY, named["yield_foreign"] / MONTHLY]
    taxes = [loaded.column(f"tax_{kind}") / 1e8 for kind in ("eligible_dividend", "foreign")]
    zero = np.zeros(loaded.size)
    line, value, held, prepaid, saving, deducted, tax = (zero.copy() for _ in range(7))
    sums = np.zeros((10, loaded.size))
    months = int(loaded.column("months")[0])
    for month in range(months):
        number, last = (start + month) % 12, days_of(start + month)
        day = np.minimum(loaded.column("pay_day"), last)
        prepaid = np.where(number == 0, 0.0, prepaid)
        left = np.maximum(named["contractual"] - month, 1)
        changed = loaded.changes[loaded.changes[:, 1] == month]
        at = changed[:, 0]
        rate[at] = changed[:, 2] / float(FIXED)
        interest = cents(-npf.ipmt(rate, 1, left, mortgage))
        payment[at] = cents(-npf.pmt(rate[at], left[at], mortgage[at]))
        owed = mortgage + interest
        rest = (month + 1 >= named["contractual"]) & (owed < 2 * payment)
        paying = mortgage > 0
        principal = np.where(rest, owed, np.minimum(payment, owed)) - interest
        sent = np.minimum(principal, excess)
        excess = excess - sent
        mortgage = mortgage - principal
        freed = principal - sent
        refund = np.where(number == due, saving, 0.0)
        for offered in (np.maximum(refund, 0.0), np.where(paying, held, 0.0)):
            wanted = np.minimum(offered, np.minimum(named["privilege"] - prepaid, mortgage))
            taken = np.where(paying, wanted, 0.0)
            prepaid = prepaid + taken
            sent = np.minimum(taken, excess)
            excess = excess - sent
            mortgage = mortgage - taken
            freed = freed + taken - sent
            sums[4] += taken
            sums[6] += offered - taken
        held = np.where(paying, 0.0, held)
        whole = np.minimum(named["registered"], named["cap65"] + excess) - mortgage
        room = np.maximum(np.minimum(named["line_cap"], whole) - line, 0.0)
        draw = np.minimum(freed, np.maximum(room - named["reserve"], 0.0))
        nights = line * (day if month else day - 1)
        line = line + draw
        posted = cents((nights + line * (last - day)) * line_rate / 365)
        sums[:4] += [interest, posted, posted, draw]
        sums[5] += refund
        deducted = deducted + posted
        opening = value
        for step, share in zip(yields, taxes, strict=True):
            income = cents(opening * step)
            held = held + income
            tax = tax + income * share
        value = opening + draw + cents(opening * growth)
        closing = (number == 11) | (month == months - 1)
        saving = np.where(closing, cents(ordinary * deducted - tax), saving)
        deducted, tax = np.where(closing, 0.0, deducted), np.where(closing, 0.0, tax)
    sums[7:] = mortgage, line, value
    return sums
