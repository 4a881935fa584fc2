"""The words of the plan proposal, marked for translation; see `words`.

The assumptions and cautions of history and chance are written here in the
reader's terms: the engine's own texts are English and stay in its reports.
"""

from __future__ import annotations

from reports.packets.words import gettext_noop

USE_AND_RECORDS = gettext_noop(
    "Interest is deductible only while the use and the records support it."
)

FIGURE_WORDS: dict[str, str] = {
    "non-deductible": gettext_noop("Debt whose interest is not deductible"),
    "debt": gettext_noop("All debt, mortgage and line"),
    "worth": gettext_noop("Net worth without the home, after tax if all is sold"),
}

CASE_WORDS: dict[str, str] = {
    "plan": gettext_noop("The plan"),
    "ordinary": gettext_noop("The ordinary mortgage"),
    "prepayments": gettext_noop("The same cash in prepayments"),
}

ASSUMED_WORDS: dict[str, str] = {
    "mortgage-rate": gettext_noop("Mortgage rate of the term"),
    "mortgage-spread": gettext_noop("Mortgage rate above prime"),
    "renewal-rate": gettext_noop("Mortgage rate at the planned renewal"),
    "privilege": gettext_noop("Prepayment allowed a year, of the original principal"),
    "prime": gettext_noop("Prime rate at the start"),
    "line-rate": gettext_noop("Line rate at the start"),
    "share": gettext_noop("Share of freed room re-borrowed"),
    "opening-draw": gettext_noop("Draw on the first day"),
    "reserve": gettext_noop("Room kept free"),
    "receipts": gettext_noop("Monthly receipts that prepay the mortgage"),
    "expenses": gettext_noop("Monthly expenses drawn on the line"),
    "line-interest": gettext_noop("The line's interest"),
    "growth": gettext_noop("Rise of prices a year, after distributions"),
    "yield-eligible_dividend": gettext_noop("Eligible dividends a year"),
    "yield-other_dividend": gettext_noop("Other dividends a year"),
    "yield-interest": gettext_noop("Interest income a year"),
    "yield-foreign": gettext_noop("Foreign income a year"),
    "yield-capital_gain": gettext_noop("Capital gains paid out a year"),
    "yield-return_of_capital": gettext_noop("Return of capital a year"),
    "distributions": gettext_noop("Distributions of the portfolio"),
    "refund": gettext_noop("The year's tax saving"),
    "refund-month": gettext_noop("Month of the tax refund"),
    "tax-ordinary": gettext_noop("Tax on ordinary income, and saved on interest deducted"),
    "tax-eligible_dividend": gettext_noop("Tax on eligible dividends received"),
    "tax-capital_gain": gettext_noop("Tax on a realised gain"),
    "tax-from": gettext_noop("Where the tax rates come from"),
    "inflation": gettext_noop("Inflation a year, for tax thresholds and incomes"),
    "discount": gettext_noop("Discount rate of the two purpose figures"),
}

VALUE_WORDS: dict[str, str] = {
    "line-interest-from-cash": gettext_noop("paid every month from own cash"),
    "line-interest-from-line": gettext_noop("paid by a draw on the line, within its room"),
    "distributions-reinvest": gettext_noop("reinvested"),
    "distributions-prepay": gettext_noop("prepay the mortgage"),
    "distributions-cash": gettext_noop("paid out to the household"),
    "refund-prepay": gettext_noop("prepays the mortgage"),
    "refund-invest": gettext_noop("is invested"),
    "refund-keep": gettext_noop("is kept"),
    "tax-from-file": gettext_noop("flat rates of the plan"),
    "tax-from-returns": gettext_noop("the members' own returns, first year"),
}

BEARER_WORDS: dict[str, str] = {
    "household": gettext_noop("the household"),
    "choice": gettext_noop("the household, who may change it"),
    "law": gettext_noop("the household, when the law or its income changes"),
    "lender": gettext_noop("the lender until %(until)s, then the household"),
}

RENEWAL_WORDS: dict[str, str] = {
    "on-file": gettext_noop("The next term is on file; its rate and payment take over."),
    "planned": gettext_noop("The plan renews into a fixed rate; the payment is solved anew."),
    "open": gettext_noop("No next rate is given: the plan goes on as before. Agree on one."),
}

MONTHLY_STEPS: tuple[str, ...] = (
    gettext_noop("Pay the mortgage as always, on its own dates."),
    gettext_noop(
        "Look up the line's limit and balance after the payment. Re-borrow the principal it "
        "really freed, never more than the room shown."
    ),
    gettext_noop(
        "Send that draw the same day, in one amount, straight to the non-registered investment "
        "account; let it pass through no other account."
    ),
    gettext_noop("Pay the line's interest as the plan says, before the month ends."),
    gettext_noop("Draw nothing on this line for anything else. Use another line for spending."),
    gettext_noop(
        "Take no capital and no sale proceeds out of the account; ask before moving anything."
    ),
    gettext_noop("Send the month's three statements to the advisor: mortgage, line, investments."),
)

RECORDS_TO_KEEP: tuple[str, ...] = (
    gettext_noop("Every statement of the mortgage, the line and the investment account."),
    gettext_noop("The confirmation of each draw and of the purchase it paid for, kept together."),
    gettext_noop("The loan agreement, every renewal, and each change of a limit or rate."),
    gettext_noop("Slips and tax returns of every year, and the working of the interest deducted."),
    gettext_noop("The adjusted cost of the investments, returns of capital included."),
    gettext_noop("This proposal, later versions, and notes of why the plan was changed."),
    gettext_noop("Keep all of it for six years after the last tax year it bears on."),
)

QUESTIONS: tuple[str, ...] = (
    gettext_noop(
        "Will the investments chosen pay income, so that interest on money borrowed for them "
        "may be deducted (Income Tax Act, paragraph 20(1)(c))?"
    ),
    gettext_noop("Who should borrow, own the investments and deduct the interest?"),
    gettext_noop(
        "How do you judge the two purpose figures under the general anti-avoidance rule "
        "(section 245)?"
    ),
    gettext_noop("Does minimum tax, or Québec's limit on investment expenses, apply to us?"),
    gettext_noop("How are returns of capital and a sale of part of the account to be followed?"),
    gettext_noop("What happens to the deduction if the home or the investments are sold?"),
    gettext_noop("Which records would you want to see if the deduction were questioned?"),
)

HISTORY_RESTS_ON: tuple[str, ...] = (
    gettext_noop(
        "The household's own calendar: month k of the plan meets month k of history, at the "
        "rates known when that month began."
    ),
    gettext_noop(
        "Returns are those of the Canadian share index with its distributions, before any fee; "
        "nobody can buy it without one."
    ),
    gettext_noop(
        "A fixed mortgage renews on the first day and every five years at the average lending "
        "rate, its payment solved anew; one that follows prime keeps its spread."
    ),
    gettext_noop("The line costs prime plus its spread. Tax is today's flat rates throughout."),
    gettext_noop(
        "Every case gets the same cash. Everything is sold on the last day; a loss saves no tax."
    ),
    gettext_noop("The lender never calls the line, lowers the limit or refuses a renewal."),
)

HISTORY_CAUTIONS: tuple[str, ...] = (
    gettext_noop(
        "A replay of the past, not a forecast. What comes may be worse than the worst start."
    ),
    gettext_noop(
        "Starts close together share most of their months: they are few independent trials."
    ),
)

SERIES: tuple[tuple[str, str, str], ...] = (
    (
        gettext_noop("Share index (S&P/TSX composite and its forerunner)"),
        "v122620",
        gettext_noop("reported"),
    ),
    (
        gettext_noop("Dividend yield of the index"),
        "v122628",
        gettext_noop("reported to August 2016; after that assumed at %(yield)s"),
    ),
    (
        gettext_noop("Prime rate"),
        "v80691311, V122530",
        gettext_noop("reported from 1975; before that derived: Bank Rate plus %(over)s"),
    ),
    (
        gettext_noop("Average five-year mortgage lending rate"),
        "v733833",
        gettext_noop("reported"),
    ),
    (gettext_noop("Consumer prices, all items"), "v41690973", gettext_noop("reported")),
)

CHANCE_RESTS_ON: tuple[str, ...] = (
    gettext_noop(
        "Each path is a row of years taken from history, two consecutive years at a time, each "
        "start equally likely; prices and rates of a block stay together."
    ),
    gettext_noop(
        "Prime starts from the plan's own, takes the drawn years' changes in proportion and is "
        "pulled each year part of the way to its usual level since 1956."
    ),
    gettext_noop(
        "The mortgage keeps its rate to the end of its term, then renews every five years at "
        "prime plus the drawn year's gap."
    ),
    gettext_noop(
        "By whole years; mortgages are taken as one; distributions are eligible dividends; no "
        "return of capital; the index before any fee."
    ),
    gettext_noop("The seed is kept, so the same paths can be drawn again by anybody."),
)

CHANCE_CAUTIONS: tuple[str, ...] = (
    gettext_noop("A projection from drawn years of the past, not a forecast and no promise."),
    gettext_noop("The worst paths here are not the worst possible."),
)
