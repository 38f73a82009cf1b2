"""The planner as the page sees it: the planning processes, and where a replan stands."""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

from scheduler.errors import AfterrainError
from scheduler.language.translation import N_, _
from scheduler.season_book.book import Book
from scheduler.web.worker import (
    OrdersIssued,
    OrdersRefined,
    PlanFailed,
    PlanProgress,
    PlanRequest,
    Priced,
    PriceRequest,
    Report,
    make_orders,
    refine_orders,
)

GRACE_S = 3.0  # from asking a run to stop to killing it; assumed, a step of the search takes less
#: Patience for a price, s; assumed, because a price takes a second once a plan is in memory, and
#: a plan takes ten to thirty.
PRICE_S = 60.0
WORKER_ENDED = N_("the planner ended unexpectedly; its report is on the terminal")


@dataclass(frozen=True, kw_only=True)
class ReplanState:
    """Where a replan stands.

    Attributes
    ----------
    running : whether orders are being made.
    stopping : whether that run was asked to stop.
    refining : whether a longer search goes on, and their sheet is being drawn.
    share, text : progress of the run or of the longer search.
    error : why the last run made no orders.
    plan : entry of the last plan that was issued, 0 for none.
    began : monotonic time at which the last run began, s.
    seconds : how long the last run took.
    """

    running: bool = False
    stopping: bool = False
    refining: bool = False
    share: float = 0.0
    text: str = ""
    error: str = ""
    plan: int = 0
    began: float = 0.0
    seconds: float = 0.0


@dataclass(frozen=True, kw_only=True)
class _Worker:
    """The process that makes orders, with its pipe and the event that cancels a run."""

    process: SpawnProcess
    pipe: Connection
    cancel: Event


class Planner:
    """The planning processes; one run at a time, safe to call from many threads.

    Parameters
    ----------
    module : name of the module with `plan_morning` and `price_order`.
    """

    def __init__(self, folder: Path, *, module: str = "scheduler.planning.plan") -> None:
        self.folder, self.module = folder, module
        self.state = ReplanState()
        self._spawn = multiprocessing.get_context("spawn")
        self._changed = threading.Condition()
        self._prices: dict[int, Priced] = {}
        self._price_requests = 0
        self._request = PlanRequest(now=datetime.now(UTC), revision=0)
        self._again: datetime | None = None  # asked for while a run goes on
        self._worker: _Worker | None = None
        self._refiner: SpawnProcess | None = None
        self._refining_pipe: Connection | None = None

    def warm(self) -> None:
        """Start the worker before the first request, so that its first answer is quick."""
        with self._changed:
            self._live_worker()

    def start(self, now: datetime) -> bool:
        """Begin a replan; False where a run goes on already.

        Another run follows that one where the season book has grown in the meantime.
        """
        with self._changed:
            if self.state.running:
                self._again = now
                return False
            if self._refiner is not None:
                self._refiner.kill()
            worker = self._live_worker()
            worker.cancel.clear()
            with Book(self.folder) as book:
                self._request = PlanRequest(now=now, revision=book.revision)
            self.state = ReplanState(
                running=True, text=_("starting"), plan=self.state.plan, began=time.monotonic()
            )
            worker.pipe.send(self._request)
            return True

    def cancel(self) -> None:
        """Ask the run to stop; kill it if it does not stop within `GRACE_S`."""
        with self._changed:
            worker = self._worker
            if not self.state.running or self.state.stopping or worker is None:
                return
            worker.cancel.set()
            self._again = None
            self.state = replace(self.state, stopping=True, text=_("stopping"))
            began = self.state.began
        timer = threading.Timer(GRACE_S, self._kill, (began, worker.process))
        timer.daemon = True
        timer.start()

    def price(
        self, orders: Mapping[str, Sequence[str]], *, now: datetime, plan_loss: float
    ) -> tuple[float, tuple[str, ...]]:
        """Expected loss of orders by crew, and lines that compare it with the loss of the plan.

        Parameters
        ----------
        now : planning time, where no morning is planned yet.

        Raises
        ------
        AfterrainError
            Where a replan runs, the morning cannot be planned, or no answer comes in time.
        """
        with self._changed:
            if self.state.running:
                raise AfterrainError(_("a replan is running: price the order when it is done"))
            worker = self._live_worker()
            self._price_requests += 1
            number = self._price_requests
            worker.pipe.send(
                PriceRequest(number=number, now=now, orders=dict(orders), plan_loss=plan_loss)
            )
            self._changed.wait_for(
                lambda: number in self._prices or not worker.process.is_alive(), timeout=PRICE_S
            )
            priced = self._prices.pop(number, None)
        if priced is None:
            raise AfterrainError(_("no price in time: try again"))
        if priced.error:
            raise AfterrainError(priced.error)
        return priced.loss, priced.lines

    def close(self) -> None:
        """End both processes."""
        with self._changed:
            worker = self._worker.process if self._worker else None
            for process in (worker, self._refiner):
                if process is not None:
                    process.kill()
                    process.join(5)

    def _live_worker(self) -> _Worker:
        """Return the worker; start one where none is alive."""
        if self._worker is None or not self._worker.process.is_alive():
            ours, theirs = self._spawn.Pipe()
            cancel = self._spawn.Event()
            process = self._start_process(make_orders, theirs, cancel)
            self._worker = _Worker(process=process, pipe=ours, cancel=cancel)
            self._listen_to(ours, self._worker_ended)
        return self._worker

    def _start_refining(self, issue: int) -> None:
        ours, theirs = self._spawn.Pipe(duplex=False)
        self._refining_pipe = ours
        self._refiner = self._start_process(refine_orders, theirs, self._request, issue)
        self.state = replace(self.state, refining=True, share=0.0, text=N_("searching further"))
        self._listen_to(ours, lambda: self._refining_ended(ours))

    def _start_process(
        self, target: Callable[..., None], theirs: Connection, *args: Any
    ) -> SpawnProcess:
        process = self._spawn.Process(
            target=target, args=(self.folder, self.module, theirs, *args), daemon=True
        )
        process.start()
        theirs.close()
        return process

    def _kill(self, began: float, process: SpawnProcess) -> None:
        """Kill the process if the run that began at `began` still goes on."""
        with self._changed:
            if self.state.running and self.state.began == began:
                process.kill()

    def _listen_to(self, pipe: Connection, ended: Callable[[], None]) -> None:
        """Take the reports of a process in a thread; call `ended` when the process ends."""

        def listen() -> None:
            while True:
                try:
                    report: Report = pipe.recv()
                except (EOFError, OSError):
                    break
                with self._changed:
                    self._take(report)
                    self._changed.notify_all()
            with self._changed:
                ended()
                self._changed.notify_all()

        threading.Thread(target=listen, daemon=True).start()

    def _take(self, report: Report) -> None:
        state = self.state
        match report:
            case PlanProgress():
                if (state.running and not state.stopping) or state.refining:
                    self.state = replace(state, share=report.share, text=report.text)
            case OrdersIssued():
                self._end_run(plan=report.entry)
                if not self._run_again():
                    self._start_refining(report.entry)
            case OrdersRefined():
                if state.refining:
                    self.state = replace(state, plan=report.entry, text=N_("drawing the sheet"))
            case PlanFailed():
                self._end_run(error=report.text)
                self._run_again()
            case Priced():
                self._prices[report.number] = report

    def _run_again(self) -> bool:
        """Begin the run asked for during the last one, where that one missed an entry."""
        now, self._again = self._again, None
        if now is None:
            return False
        with Book(self.folder) as book:
            missed = any(e.id > self._request.revision for e in book.entries_since(None))
        return missed and self.start(now)

    def _worker_ended(self) -> None:
        if self.state.running:
            self._end_run(error=N_("cancelled") if self.state.stopping else WORKER_ENDED)

    def _refining_ended(self, pipe: Connection) -> None:
        if pipe is self._refining_pipe:
            self.state = replace(self.state, refining=False)

    def _end_run(self, *, plan: int = 0, error: str = "") -> None:
        self.state = replace(
            self.state,
            running=False,
            stopping=False,
            share=1.0 if plan else 0.0,
            error=error,
            text="",
            plan=plan or self.state.plan,
            seconds=time.monotonic() - self.state.began,
        )
