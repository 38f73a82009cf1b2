"""Output of `plan --all`: every order with its figures, money and cautions."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.farm.units import show_area, show_distance, show_money, show_number, show_rate
from scheduler.farm.wording import clock, crew_title, day_heading, day_name, one_line
from scheduler.language.translation import _, ngettext
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.report.caution_phrases import caution_lines
from scheduler.report.lesson_phrases import lesson_lines
from scheduler.report.order_phrases import (
    by_clock,
    chance_text,
    change_text,
    deciding_lines,
    fallback_text,
    finish_clock,
    kept_note,
    left_out_text,
    left_unfinished,
    makeup_lines,
    note_text,
    other_forecast,
    own_order_kept,
    points_text,
    reason_text,
    start_text,
    way_lines,
)
from scheduler.report.phrases import (
    EDGE_ONLY,
    LIMIT_TEXT,
    delivery_lines,
    field_title,
    grain_text,
    haul_text,
    machines,
    makeup_text,
    moisture_range,
    money_lines,
    move_parts,
    own_crop,
    quality_note,
    quality_text,
    time_range,
    times_note,
    total_area,
)
from scheduler.report.terminal.lines import WIDTH, heading, wrapped
from scheduler.report.today import by_day
from scheduler.report.weather_phrases import beyond_forecast, weather_doubts, weather_line


def full_plan(morning: Morning) -> str:
    """Write orders of every crew, money, fields left out, cautions and the seed."""
    lines = _head_lines(morning)
    for crew in morning.crews:
        lines += _crew_lines(crew, morning)
    if grain := delivery_lines(morning):
        lines += heading(_("Where the grain goes, mean of the forecasts"))
        lines += [line for text in grain for line in wrapped(text, 2, hang=4)]
    lines += heading(_("What it is worth{kept}", kept=own_order_kept(morning)))
    for text in money_lines(morning):
        lines += wrapped(text, 2, hang=4)
    if causes := deciding_lines(morning.deciding, morning.farm.currency):
        lines += heading(_("What would change a crew's first field"))
        for text in causes:
            lines += wrapped(f"- {one_line(text)}", 2, hang=4)
    if morning.left_out:
        lines += heading(_("Left out"))
        for left in morning.left_out:
            cost = show_money(left.cost, morning.farm.currency)
            text = _(
                "{field}: {reason}; leaving it costs {cost}",
                field=f"{one_line(left.name)} ({one_line(left.field)})",
                reason=one_line(left_out_text(left.why)),
                cost=cost,
            )
            lines += wrapped(text, 2, hang=4)
    lines += heading(_("Cautions"))
    for caution in caution_lines(morning):
        lines += wrapped(f"- {one_line(caution)}", 2, hang=4)
    return "\n".join(lines) + "\n"


def _head_lines(morning: Morning) -> list[str]:
    title = _(
        "{farm}: cutting order, {day} {year}",
        farm=one_line(morning.farm.name),
        day=day_name(morning.now),
        year=morning.now.year,
    )
    weather = _("Weather: {forecast}", forecast=weather_line(morning))
    lines = [title, "=" * min(WIDTH, len(title)), *wrapped(weather, 0)]
    for note in morning.weather_notes:
        lines += wrapped(_("Weather note: {note}", note=one_line(note)), 0, hang=2)
    for note in morning.farm_notes:
        lines += wrapped(_("Assumed: {note}", note=one_line(note)), 0, hang=2)
    if kept := kept_note(morning):
        lines += wrapped(kept, 0)
    if doubts := weather_doubts(morning):
        lines += wrapped(" ".join(doubts), 0)
    if morning.makeup:
        makeup = one_line(makeup_text(morning.makeup))
        lines += wrapped(_("Make-up: {makeup}", makeup=makeup), 0, hang=2)
    for text in makeup_lines(morning):
        lines += wrapped(_("Machines: {moves}", moves=text), 0, hang=2)
    for change in morning.changes:
        text = one_line(change_text(change, morning.farm))
        lines += wrapped(_("Changed: {change}", change=text), 0, hang=2)
    for lesson in lesson_lines(morning.lessons, morning.farm):
        lines += wrapped(_("Learnt: {lesson}", lesson=one_line(lesson)), 0, hang=2)
    return lines + wrapped(
        f"{times_note(morning.members)} {quality_note(morning.farm)}",
        0,
    )


def _crew_lines(crew: CrewOrders, morning: Morning) -> list[str]:
    lines = heading(crew_title(crew.crew))
    lines += wrapped(machines(crew, morning), 0)
    if crew.note:
        lines += wrapped(one_line(note_text(crew.note, morning.farm.units)), 0)
    for day, orders in by_day(crew):
        lines.append(day_heading(day, morning.now.date()))
        for place, order in orders:
            lines += _order_lines(place, order, morning)
    for text in way_lines(crew):
        lines += wrapped(text, 0, hang=2)
    if crew.fallback is not None:
        tough, soft = (
            one_line(fallback_text(a)) for a in (crew.fallback.if_tough, crew.fallback.if_soft)
        )
        lines += wrapped(_("If the first sample is tough: {action}", action=tough), 0, hang=2)
        lines += wrapped(_("If the ground is soft: {action}", action=soft), 0, hang=2)
    if crew.orders:
        area = total_area(crew, morning)
        lines.append(
            ngettext(
                "In all {n} order, {area}", "In all {n} orders, {area}", len(crew.orders), area=area
            )
        )
    return lines


def _order_lines(place: int, order: Order, morning: Morning) -> list[str]:
    units, day = morning.farm.units, order.start.mid.date()
    grain = grain_text(order, morning)
    if len(order.deliveries) > 1:
        grain = _("{grain} in all", grain=grain)
    first = (
        f"{field_title(order)}  {own_crop(order, morning.farm)}  {show_area(order.area_ha, units)}"
        f", {haul_text(order)} ({grain})"
    )
    second = _(
        "leave {leave} (move {move}, {distance})  start {start} ({start_range})  "
        "done {done} ({done_range})",
        leave=clock(order.leave_at, day, units),
        move=move_parts(order, morning.farm),
        distance=show_distance(order.move_km, units),
        start=clock(order.start.mid, day, units),
        start_range=time_range(order.start, day, units),
        done=finish_clock(order, morning, day),
        done_range=time_range(order.finish, day, units),
    )
    third = _(
        "moisture {moisture} % ({range})  {quality}",
        moisture=show_number(order.moisture_pct.mid, 1),
        range=moisture_range(order.moisture_pct),
        quality=quality_text(order, morning),
    )
    limit = _(LIMIT_TEXT.get(order.limited_by, order.limited_by))
    fourth = f"{chance_text(order)}  {show_rate(order.rate_ha_h, units)}, {limit}"
    lines = wrapped(f"{place:2d}  {first}", 0, hang=4)
    for text in (second, third, fourth) if by_clock(order, morning) else (third, fourth):
        lines += wrapped(text, 4)
    for text in _remarks(order, morning):
        lines += wrapped(text, 4, hang=6)
    return lines


def _remarks(order: Order, morning: Morning) -> Iterator[str]:
    if order.locked:
        yield _("held by your order")
    if beyond := beyond_forecast(order, morning):
        yield beyond
    if other := other_forecast(order):
        yield other
    if left := left_unfinished(order, morning):
        yield left
    if start := start_text(order, morning):
        yield _("start {moisture}", moisture=start)
    if len(order.deliveries) > 1:
        yield _("grain {points}", points=points_text(order, morning.farm))
    if order.headland_only:
        yield _("ground: {remark}", remark=_(EDGE_ONLY))
    if reason := reason_text(order.reason, morning.farm):
        yield _("why: {reason}", reason=one_line(reason))
    if order.changed:
        yield _("changed: {change}", change=one_line(order.changed))
