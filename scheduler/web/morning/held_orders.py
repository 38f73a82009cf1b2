"""Orders of the farmer's own: which ones hold, what they cost, and why one is not followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from scheduler.farm.wording import one_line
from scheduler.language.translation import _
from scheduler.orders.document import IssuedPlan
from scheduler.orders.reasons import LeftOutKind, LeftOutReason
from scheduler.report.order_phrases import idle_crew_text, idle_crews, left_out_text
from scheduler.report.phrases import held_text
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import field_of_parcel


@dataclass(frozen=True, kw_only=True)
class HeldOrder:
    """A farmer's own order that holds.

    Attributes
    ----------
    entry : id of its entry.
    fields : fields or parcels of it that are not cut.
    price : what all own orders cost together, "" where the plan shown was made without this one.
    problem : why the crew cannot follow it, "" where it can.
    """

    entry: int
    fields: tuple[str, ...]
    price: str
    problem: str


def held_orders(book: Book, plan: IssuedPlan, now: datetime) -> dict[str, HeldOrder]:
    """Own orders that hold, by crew id."""
    money, issue = plan.money, book.last_issue()
    seen = (issue.number("seen") or 0) if issue else 0
    written = {e.subject: e.id for e in book.entries("order", until=now)}
    price = ""
    if money.held_cost is not None:
        price = held_text(money.held_cost, money.held_error, plan.farm.currency)
    return {
        crew: HeldOrder(
            entry=written[crew],
            fields=fields,
            price=price if written[crew] <= seen else "",
            problem=why_not(plan, crew, fields),
        )
        for crew, fields in book.manual_orders(plan.farm, now).items()
    }


def why_not(plan: IssuedPlan, crew: str, fields: Sequence[str]) -> str:
    """Why a crew cannot follow an order of these fields; "" where it can."""
    if crew in idle_crews(plan):
        return _("{crew}: {reason}", crew=one_line(crew), reason=idle_crew_text(crew, plan))
    wanted = [field_of_parcel(name) for name in fields]
    by_choice = left_out_text(LeftOutReason(kind=LeftOutKind.LOSES_MORE_ELSEWHERE))
    for one in plan.left_out:
        if one.field in wanted and one.why != by_choice:
            title = one_line(one.name) or one.field
            return _("{field}: {reason}", field=title, reason=left_out_text(one.why))
    return ""
