"""Output of `plan`: the day in at most `LINES` lines, the most needed first."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.farm.wording import crew_title, day_name, one_line, percent, sentence, time_of_day
from scheduler.language.locale_formats import short_day
from scheduler.language.translation import _, ngettext
from scheduler.orders.model import Change, CrewOrders, Morning, Order
from scheduler.report.caution_phrases import short_caution
from scheduler.report.order_phrases import short_change, undriven_text
from scheduler.report.phrases import field_title, held_text, money_lines
from scheduler.report.terminal.lines import NO_BREAK, wrapped
from scheduler.report.today import CrewDay, crew_days, later_orders
from scheduler.report.weather_phrases import beyond_mark_note, cut_by_day, day_mark, weather_doubts
from scheduler.windows.daily_hours import some_field_hours

#: Lines of the first screen; assumed: what a laptop shows without scrolling.
LINES = 40
#: Indent of what belongs to a crew, and of the texts of its five lines.
INDENT, HANG = 2, 10
#: Lines for what differs from the previous orders; `--all` has every change and its reason.
CHANGED_LINES = 3
#: Days of which the hours are shown; assumed: those that a forecast tells with some skill.
HOURS_DAYS = 7


def first_screen(morning: Morning) -> str:
    """Write today, tomorrow, what follows, money and hours; what does not fit is `--all`."""
    head, tail = _head(morning), wrapped(_more_text(), 0)
    days = crew_days(morning)
    room = LINES - len(head) - len(tail)
    today = _today_lines(days, room)
    room -= len(today)
    blocks = [
        _changed_lines(morning),
        _tomorrow_lines(morning),
        _money_lines(morning),
        _hours_lines(morning),
    ]
    kept: list[list[str]] = []
    for block in blocks:
        fits = len(block) <= room
        kept.append(block if fits else [])
        room -= len(block) if fits else 0
    changed, tomorrow, money, hours = kept
    ranked = _ranked_lines(morning, room)
    return "\n".join([*head, *today, *changed, *tomorrow, *ranked, *money, *hours, *tail]) + "\n"


def _head(morning: Morning) -> list[str]:
    """Farm, day, forecast, and what a crew must know before it leaves."""
    age = "" if morning.age_h is None else _(", {hours} h old", hours=round(morning.age_h))
    forecasts = ngettext("{n} forecast", "{n} forecasts", morning.members)
    title = _(
        "{farm}, {day} {clock}: {forecasts}{age}",
        farm=one_line(morning.farm.name),
        day=day_name(morning.now),
        clock=time_of_day(morning.now, morning.farm.units),
        forecasts=forecasts,
        age=age,
    )
    lines = wrapped(title, 0)[:2]
    if doubts := weather_doubts(morning):
        text = _("WEATHER {doubts}", doubts=" ".join(doubts))
        if note := beyond_mark_note(morning):
            text += f" ({note})"
        lines += wrapped(text, 0, hang=INDENT)
    if morning.undriven:
        lines += wrapped(undriven_text(morning), 0, hang=2)[:2]
    for note in morning.farm_notes:
        lines += wrapped(_("Assumed: {note}", note=one_line(note)), 0, hang=2)[:3]
    cautions = " ".join(one_line(short_caution(c, morning.farm.units)) for c in morning.cautions)
    if cautions:
        lines += wrapped(_("CARE {cautions}", cautions=cautions), 0, hang=5)[:6]
    return lines


def _more_text() -> str:
    return _(
        "All orders with their figures, reasons, deliveries and cautions: --all, or the sheet."
    )


def _today_lines(days: Sequence[CrewDay], room: int) -> list[str]:
    """The five lines of each crew; the orders alone where many crews leave no room for more."""
    for write in (_five_lines, _two_lines):
        lines = [line for day in days for line in write(day)]
        if len(lines) <= room:
            return lines
    fits: list[str] = []
    for n, day in enumerate(days):
        mine = _two_lines(day)
        if len(fits) + len(mine) > room - 1:
            rest = len(days) - n
            more = ngettext("{n} more crew: --all", "{n} more crews: --all", rest)
            return [*fits, *wrapped(more, 0)]
        fits += mine
    return fits


def _five_lines(day: CrewDay) -> list[str]:
    lines = wrapped(_("TODAY {crew}", crew=day.title.upper()), 0)
    for name, text in day.five:
        lines += _named(name, text)
    for text in day.then:
        lines += _named(_("Then"), text)
    return lines


def _two_lines(day: CrewDay) -> list[str]:
    moved = f"{day.moved}. " if day.moved else ""
    return wrapped(f"{day.title.upper()}  {moved}{day.stays}", 0, hang=INDENT)


def _named(name: str, text: str) -> list[str]:
    return wrapped(f"{name:<{HANG - INDENT - 1}} {text}", INDENT, hang=HANG)


def _changed_lines(morning: Morning) -> list[str]:
    """Orders that differ from the previous ones, those that begin first before the others."""
    changes = [c for c in morning.changes if isinstance(c, Change)]
    texts = [
        short_change(c) for c in sorted(changes, key=lambda c: (c.order.start.mid, c.order.field))
    ]
    for count in range(len(texts), 0, -1):
        rest = len(texts) - count
        more = [ngettext("{n} more", "{n} more", rest)] if rest else []
        listed = "; ".join([*texts[:count], *more])
        lines = wrapped(
            _("CHANGED since the last orders: {changes}", changes=listed), 0, hang=INDENT
        )
        if len(lines) <= CHANGED_LINES:
            return lines
    return []


def _tomorrow_lines(morning: Morning) -> list[str]:
    days = crew_days(morning, ahead=1)
    if not days:
        return []
    named = day_name(days[0].day) + day_mark(days[0].day, morning)
    lines = wrapped(_("TOMORROW {day}", day=named), 0)
    for day in days:
        lines += wrapped(f"{day.title}: {day.stays}", INDENT, hang=INDENT + 2)
    return lines


def _ranked_lines(morning: Morning, room: int) -> list[str]:
    """Fields that are not finished by tomorrow, in each crew's order, as far as there is room."""
    title = wrapped(_("AFTER THAT cut by, in which share of the forecasts"), 0)
    for count in range(max((len(c.orders) for c in morning.crews), default=0), 0, -1):
        lines = [line for crew in morning.crews for line in _ranked_crew(morning, crew, count)]
        if lines and len(title) + len(lines) <= room:
            return title + lines
    return []


def _ranked_crew(morning: Morning, crew: CrewOrders, count: int) -> list[str]:
    """The next `count` fields of a crew."""
    ahead = later_orders(morning, crew)
    if not ahead:
        return []
    texts = [_ranked_text(order, morning) for _place, order in ahead[:count]]
    if len(ahead) > count:
        texts.append(ngettext("{n} more", "{n} more", len(ahead) - count))
    title = sentence(crew_title(crew.crew))
    return wrapped(f"{title}: {', '.join(texts)}", INDENT, hang=INDENT + 2)


def _ranked_text(order: Order, morning: Morning) -> str:
    """'Windbreak (F19) Sat 15 Aug (58 %)'."""
    return _(
        "{field} {day} ({share})",
        field=field_title(order),
        day=cut_by_day(order, morning),
        share=percent(order.chance),
    )


def _money_lines(morning: Morning) -> list[str]:
    money, text = morning.money, money_lines(morning)[0]
    if money.held_cost is not None:
        text += " " + held_text(money.held_cost, money.held_error, morning.farm.currency)
    return wrapped(_("MONEY {text}", text=text), 0, hang=INDENT)


def _hours_range(low: int, high: int) -> str:
    """'4 to 7 h', which no clock reads like, or '7 h' where both are the same."""
    return _("{n} h", n=low) if low == high else _("{low} to {high} h", low=low, high=high)


def _hours_lines(morning: Morning) -> list[str]:
    """Hours in which some field can be cut, by day."""
    by_day = some_field_hours(morning.farm, morning.season, now=morning.now)
    texts = [
        f"{short_day(day)}{day_mark(day, morning)} {_hours_range(low, high)}".replace(" ", NO_BREAK)
        for day, (low, high) in list(by_day.items())[:HOURS_DAYS]
    ]
    title = _(
        "HOURS in which some field can be cut, in eight forecasts of ten: {hours}",
        hours=", ".join(texts),
    )
    return wrapped(title, 0, hang=INDENT)
