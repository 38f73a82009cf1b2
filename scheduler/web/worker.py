"""The planning processes: their work, and the messages between them and the page.

The first process makes orders in seconds and prices the orders that people propose. It stays, so
that its compiled code and the morning's tables are ready. The second process plans the same
morning by a longer search and draws the sheet; then it ends.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import signal
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, cast

from scheduler.errors import AfterrainError
from scheduler.farm_files.folder import farm_language
from scheduler.language.translation import N_, _, set_language
from scheduler.orders.model import Morning
from scheduler.report.order_phrases import own_order_lines
from scheduler.report.phrases import STAGE_TEXT
from scheduler.season_book.book import Book
from scheduler.solver.stages import Progress, Stage, ignore_progress

if TYPE_CHECKING:  # loads the solver, which the page does without
    from scheduler.explanation.own_order import OwnOrderPrice

#: Niceness of the processes: both yield to the page's answers, the second also to new orders.
NICE_ORDERS, NICE_REFINE = 5, 10
PLANNER_FAILED = N_("the planner failed; its report is on the terminal")


@dataclass(frozen=True, kw_only=True)
class PlanRequest:
    """Ask for orders.

    Attributes
    ----------
    now : planning time, aware.
    revision : revision of the season book that the plan takes into account.
    """

    now: datetime
    revision: int


@dataclass(frozen=True, kw_only=True)
class PriceRequest:
    """Ask what orders by crew lose against the loss of the plan; `number` names the answer.

    Where no morning is planned yet, as after a restart, one is planned for `now` and not issued.
    """

    number: int
    now: datetime
    orders: Mapping[str, Sequence[str]]
    plan_loss: float


@dataclass(frozen=True, kw_only=True)
class PlanProgress:
    """Share of the planning done, and what the planner does now."""

    share: float
    text: str


@dataclass(frozen=True, kw_only=True)
class OrdersIssued:
    """Orders are in the season book, as its `entry`."""

    entry: int


@dataclass(frozen=True, kw_only=True)
class OrdersRefined:
    """Orders of the longer search are in the season book, as its `entry`; no sheet is drawn yet."""

    entry: int


@dataclass(frozen=True, kw_only=True)
class PlanFailed:
    """There are no new orders, for the reason in `text`."""

    text: str


@dataclass(frozen=True, kw_only=True)
class Priced:
    """Loss of the orders of a `PriceRequest` and lines about it, or an error."""

    number: int
    loss: float = 0.0
    lines: tuple[str, ...] = ()
    error: str = ""


Request = PlanRequest | PriceRequest
Report = PlanProgress | OrdersIssued | OrdersRefined | PlanFailed | Priced


class PlannerModule(Protocol):
    """Module that plans; `scheduler.planning.plan`, or one that stands for it in tests."""

    def plan_morning(
        self, folder: Path, *, now: datetime, swift: bool = ..., progress: Progress
    ) -> Morning:
        """Plan a farm folder."""

    def price_order(
        self,
        folder: Path,
        morning: Morning,
        orders: Mapping[str, Sequence[str]],
        *,
        plan_loss: float,
    ) -> OwnOrderPrice:
        """Price orders against a planned morning."""


class CancelledError(Exception):
    """The run was cancelled."""


def make_orders(folder: Path, module: str, pipe: Connection, cancel: Event) -> None:
    """Answer requests for orders and prices until the pipe closes. Runs in the first process.

    Parameters
    ----------
    module : name of a `PlannerModule`.
    cancel : set when the run is to stop.
    """
    planner = _start(NICE_ORDERS, module)
    morning: Morning | None = None
    while True:
        try:
            request: Request = pipe.recv()
        except (EOFError, OSError):
            return
        set_language(farm_language(folder))
        try:
            if isinstance(request, PlanRequest):
                morning = _issue_orders(folder, planner, request, pipe=pipe, cancel=cancel)
            else:
                if morning is None:
                    morning = planner.plan_morning(
                        folder, now=request.now, swift=True, progress=ignore_progress
                    )
                price = planner.price_order(
                    folder, morning, request.orders, plan_loss=request.plan_loss
                )
                lines = own_order_lines(price, morning.farm.currency)
                pipe.send(Priced(number=request.number, loss=price.loss, lines=tuple(lines)))
        except CancelledError:
            pipe.send(PlanFailed(text=_("cancelled; the orders before it hold")))
        except AfterrainError as error:
            pipe.send(_failure(request, str(error)))
        except Exception:
            traceback.print_exc()
            pipe.send(_failure(request, _(PLANNER_FAILED)))


def refine_orders(
    folder: Path, module: str, pipe: Connection, request: PlanRequest, issue: int
) -> None:
    """Plan the morning by a longer search, issue that plan and write its files.

    Runs in the second process. Nothing is issued if another plan than the entry `issue` was issued
    in the meantime.
    """
    planner = _start(NICE_REFINE, module)
    set_language(farm_language(folder))
    from scheduler.report.files import write_plan  # loads matplotlib, which only files need
    from scheduler.report.plan_document import document  # loads the models, as planning does

    def progress(stage: Stage, share: float) -> None:
        pipe.send(PlanProgress(share=share, text=_(STAGE_TEXT[stage])))

    try:
        morning = planner.plan_morning(folder, now=request.now, progress=progress)
        with Book(folder) as book:
            last = book.last_issue()
            if last is None or last.id != issue:
                return
            entry = book.issue_plan(document(morning), seen=request.revision)
            pipe.send(OrdersRefined(entry=entry.id))
        write_plan(morning, folder)
    except OSError:
        return  # the page has ended
    except Exception:
        traceback.print_exc()


def _start(nice: int, module: str) -> PlannerModule:
    """Yield to the page, leave Ctrl+C to it, and load the planner."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError, AttributeError):  # some systems have no nice
        os.nice(nice)
    return cast(PlannerModule, importlib.import_module(module))


def _issue_orders(
    folder: Path, planner: PlannerModule, request: PlanRequest, *, pipe: Connection, cancel: Event
) -> Morning:
    """Make orders by a short search and issue them."""
    from scheduler.report.plan_document import document  # loads the models, as planning does

    def show(share: float, text: str) -> None:
        if cancel.is_set():
            raise CancelledError
        pipe.send(PlanProgress(share=share, text=text))

    show(0.0, _("reading the farm, the weather and the book"))
    morning = planner.plan_morning(
        folder,
        now=request.now,
        swift=True,
        progress=lambda stage, share: show(share, _(STAGE_TEXT[stage])),
    )
    show(0.95, _("writing the orders"))
    with Book(folder) as book:
        entry = book.issue_plan(document(morning), seen=request.revision)
    pipe.send(OrdersIssued(entry=entry.id))
    return morning


def _failure(request: Request, text: str) -> Report:
    if isinstance(request, PlanRequest):
        return PlanFailed(text=text)
    return Priced(number=request.number, error=text)
