"""The running sums of one month of a plan, and the row they become."""

from __future__ import annotations

from planning.core.plan_types import PlanRow


class MonthSums:
    """What has happened so far in the month, in cents. Field names follow the row's keys."""

    def __init__(self, mortgage_opening: int, line_opening: int, portfolio_opening: int) -> None:
        self.mortgage_opening = mortgage_opening
        self.line_opening = line_opening
        self.portfolio_opening = portfolio_opening
        self.payment = self.interest = self.principal = self.prepayment = 0
        self.room_freed = self.draw = self.interest_draw = self.dam_draw = 0
        self.line_interest = self.line_interest_paid = self.deductible = 0
        self.contribution = self.growth = self.distribution = self.reinvested = 0
        self.refund = self.invested_refund = self.refused = 0
        self.refund_due: int | None = None
        self.dammed = False

    def row(
        self, month: str, mortgage: int, classes: tuple[int, int, int], portfolio: int, limit: int
    ) -> PlanRow:
        """The month's row from the sums and the balances at its end.

        `classes` are the lines' balances by use class. Every identity between
        the figures is asserted here: a plan that breaks one is never shown.
        """
        owed = sum(classes)
        row = PlanRow(
            month=month,
            mortgage_opening=self.mortgage_opening,
            payment=self.payment,
            interest=self.interest,
            principal=self.principal,
            prepayment=self.prepayment,
            mortgage_closing=mortgage,
            room_freed=self.room_freed,
            draw=self.draw,
            interest_draw=self.interest_draw,
            line_opening=self.line_opening,
            line_interest=self.line_interest,
            line_interest_paid=self.line_interest_paid,
            line_closing=owed,
            eligible=classes[0],
            unsupported=classes[1],
            ineligible=classes[2],
            deductible=self.deductible,
            contribution=self.contribution,
            growth=self.growth,
            distribution=self.distribution,
            portfolio_closing=portfolio,
            refund=self.refund,
            limit=limit,
            room=max(0, limit - owed),
            refused=self.refused,
            dam_draw=self.dam_draw,
        )
        self._check(row)
        return row

    def _check(self, row: PlanRow) -> None:
        assert row.payment == row.interest + row.principal
        assert row.mortgage_closing == row.mortgage_opening - row.principal - row.prepayment
        assert row.line_closing == (
            row.line_opening
            + row.draw
            + row.dam_draw
            + row.interest_draw
            + row.line_interest
            - row.line_interest_paid
        )
        assert row.eligible + row.unsupported + row.ineligible == row.line_closing
        assert row.contribution == row.draw + self.invested_refund
        assert row.portfolio_closing == (
            self.portfolio_opening + row.contribution + row.growth + self.reinvested
        )
        assert row.room >= 0
        assert row.room_freed >= 0
        assert min(row.eligible, row.unsupported, row.ineligible, row.mortgage_closing) >= 0
