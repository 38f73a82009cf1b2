"""Planning in processes of their own, so that the page answers while a plan is made.

One process makes orders in seconds and prices what people propose; it stays, so that it is warm.
Another then plans the same morning thoroughly, proves it, and draws the sheet; it ends with that,
or is killed when it is overtaken by a new replan.
"""

from __future__ import annotations

import contextlib
import importlib
import multiprocessing
import os
import signal
import threading
import time
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

from scheduler.errors import AfterrainError
from scheduler.season_book.book import Book

GRACE_S = 3.0  # from asking to stop to killing; assumed, a step of the search takes less
PRICE_S = 20.0  # to wait for a price; assumed, because it takes a second once a plan is there
NICE, NICE_PROOF = 5, 10  # both give way to the page's answers, the proof also to new orders
FAILED = "the planner failed; its report is on the terminal"
ENDED = "the planner ended unexpectedly; its report is on the terminal"


class Stopped(Exception):  # noqa: N818
    """The run was cancelled."""


@dataclass(frozen=True, kw_only=True)
class ReplanState:
    """Where a replan stands. `plan` is the entry of the last plan it issued.

    `running` until orders are out, then `proving` until they are proven and the sheet is drawn.
    """

    running: bool = False
    stopping: bool = False
    proving: bool = False
    share: float = 0.0
    text: str = ""
    error: str = ""
    plan: int = 0
    began: float = 0.0
    seconds: float = 0.0


def _settle(nice: int, module: str) -> Any:
    """Give way to the page, leave Ctrl+C to it, and load the planner."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError, AttributeError):  # there is no nice on some systems
        os.nice(nice)
    return importlib.import_module(module)


def make_orders(folder: str, module: str, pipe: Connection, stop: Event) -> None:
    """Make orders and price others until the pipe closes. Runs in the first process."""
    planner = _settle(NICE, module)
    morning: Any = None
    while True:
        try:
            what, payload = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            if what == "plan":
                morning = _plan(folder, planner, *payload, pipe=pipe, stop=stop)
            elif morning is None:
                pipe.send(("priced", (payload[0], None, "replan first, then price an order")))
            else:
                number, orders, best = payload
                loss, lines = planner.price_order(Path(folder), morning, orders, best=best)
                pipe.send(("priced", (number, (loss, list(lines)), "")))
        except Stopped:
            pipe.send(("failed", "cancelled; the orders before it hold"))
        except AfterrainError as error:
            _failed(pipe, what, payload, str(error))
        except Exception:
            traceback.print_exc()
            _failed(pipe, what, payload, FAILED)


def _failed(pipe: Connection, what: str, payload: Any, text: str) -> None:
    pipe.send(("failed", text) if what == "plan" else ("priced", (payload[0], None, text)))


def _plan(
    folder: str, planner: Any, now: datetime, seen: int, *, pipe: Connection, stop: Event
) -> Any:
    """Make orders swiftly and issue them."""
    from scheduler.report.phrases import STAGE_TEXT
    from scheduler.report.plan_document import document

    def show(text: str, share: float) -> None:
        if stop.is_set():
            raise Stopped
        pipe.send(("progress", (share, text)))

    show("reading the farm, the weather and the book", 0.0)
    morning = planner.plan_morning(
        Path(folder),
        now=now,
        swift=True,
        progress=lambda stage, share: show(STAGE_TEXT[stage], share),
    )
    show("writing the orders", 0.95)
    with Book(folder) as book:
        entry = book.issue_plan(document(morning), seen=seen)
    pipe.send(("done", entry.id))
    return morning


def prove_orders(
    folder: str, module: str, pipe: Connection, now: datetime, seen: int, issue: int
) -> None:
    """Plan the same morning thoroughly, issue that plan and write its files.

    Nothing is issued where another plan was in the meantime. Runs in the second process.
    """
    planner = _settle(NICE_PROOF, module)
    from scheduler.report.files import write_plan
    from scheduler.report.phrases import STAGE_TEXT
    from scheduler.report.plan_document import document

    try:
        morning = planner.plan_morning(
            Path(folder),
            now=now,
            progress=lambda stage, share: pipe.send(("progress", (share, STAGE_TEXT[stage]))),
        )
        with Book(folder) as book:
            last = book.last_issue()
            if last is None or last.id != issue:
                return
            pipe.send(("proven", book.issue_plan(document(morning), seen=seen).id))
        write_plan(morning, Path(folder))
    except OSError:
        return  # the page has ended
    except Exception:
        traceback.print_exc()


class Planner:
    """The processes as the page sees them; one run at a time, safe to call from many threads.

    Parameters
    ----------
    module : where `plan_morning` and `price_order` are found.
    """

    def __init__(self, folder: Path, *, module: str = "scheduler.planning.plan") -> None:
        self.folder, self.module = folder, module
        self.state = ReplanState()
        self._spawn = multiprocessing.get_context("spawn")
        self._changed = threading.Condition()
        self._answers: dict[int, tuple[Any, str]] = {}
        self._asked = 0
        self._asked_for = datetime.now(UTC), 0  # planning time, and the book's revision then
        self._worker: Any = None
        self._prover: Any = None
        self._pipe: Connection | None = None
        self._proof: Connection | None = None
        self._stop: Any = None

    def _ready(self) -> Connection:
        """The pipe to a living worker; starts one where there is none."""
        if self._worker is None or not self._worker.is_alive():
            ours, theirs = self._spawn.Pipe()
            self._stop = self._spawn.Event()
            self._worker = self._begin(make_orders, theirs, self._stop)
            self._pipe = ours
            threading.Thread(target=self._listen, args=(ours, True), daemon=True).start()
        assert self._pipe is not None
        return self._pipe

    def _begin(self, target: Any, theirs: Connection, *more: Any) -> Any:
        process = self._spawn.Process(
            target=target, args=(str(self.folder), self.module, theirs, *more), daemon=True
        )
        process.start()
        theirs.close()
        return process

    def warm(self) -> None:
        """Start the worker before it is asked, so that its first answer is quick."""
        with self._changed:
            self._ready()

    def start(self, now: datetime | None = None) -> bool:
        """Begin a replan; False where one runs already, which then serves this caller too."""
        with self._changed:
            if self.state.running:
                return False
            if self._prover is not None:
                self._prover.kill()
            pipe = self._ready()
            self._stop.clear()
            with Book(self.folder) as book:
                self._asked_for = now or datetime.now(UTC), book.revision
            self.state = ReplanState(
                running=True, text="starting", plan=self.state.plan, began=time.monotonic()
            )
            pipe.send(("plan", self._asked_for))
            return True

    def cancel(self) -> None:
        """Ask a run to stop; it is killed where it does not within `GRACE_S`."""
        with self._changed:
            if not self.state.running or self.state.stopping:
                return
            self._stop.set()
            self.state = replace(self.state, stopping=True, text="stopping")
            began, process = self.state.began, self._worker
        timer = threading.Timer(GRACE_S, self._kill, (began, process))
        timer.daemon = True
        timer.start()

    def _kill(self, began: float, process: Any) -> None:
        with self._changed:
            if self.state.running and self.state.began == began:
                process.kill()

    def price(self, orders: Mapping[str, list[str]], *, best: float) -> tuple[float, list[str]]:
        """Expected loss of orders by crew, and what to say of it against a loss of `best`.

        Raises
        ------
        AfterrainError
            Where there is no plan to price against, or no answer in time.
        """
        with self._changed:
            if self.state.running:
                raise AfterrainError("a replan is running: price the order when it is done")
            pipe = self._ready()
            self._asked += 1
            mine, worker = self._asked, self._worker
            pipe.send(("price", (mine, dict(orders), best)))
            self._changed.wait_for(
                lambda: mine in self._answers or not worker.is_alive(), timeout=PRICE_S
            )
            result, error = self._answers.pop(mine, (None, "no price in time: try again"))
        if result is None:
            raise AfterrainError(error)
        return float(result[0]), list(result[1])

    def close(self) -> None:
        """End both processes."""
        with self._changed:
            for process in (self._worker, self._prover):
                if process is not None:
                    process.kill()
                    process.join(5)

    def _listen(self, pipe: Connection, worker: bool) -> None:
        """Take what a process says until it ends."""
        try:
            while True:
                what, payload = pipe.recv()
                with self._changed:
                    self._take(what, payload)
                    self._changed.notify_all()
        except (EOFError, OSError):
            with self._changed:
                if worker and self.state.running:
                    self._end(error="cancelled" if self.state.stopping else ENDED)
                elif not worker and pipe is self._proof:
                    self.state = replace(self.state, proving=False)
                self._changed.notify_all()

    def _take(self, what: str, payload: Any) -> None:
        state = self.state
        if what == "progress":
            if (state.running and not state.stopping) or state.proving:
                self.state = replace(state, share=payload[0], text=payload[1])
        elif what == "done":
            self._end(plan=payload)
            self._prove(payload)
        elif what == "proven" and self.state.proving:
            self.state = replace(self.state, plan=payload, text="drawing the sheet")
        elif what == "failed":
            self._end(error=payload)
        elif what == "priced":
            number, result, error = payload
            self._answers[number] = (result, error)

    def _prove(self, issue: int) -> None:
        ours, theirs = self._spawn.Pipe(duplex=False)
        self._proof = ours
        self._prover = self._begin(prove_orders, theirs, *self._asked_for, issue)
        self.state = replace(self.state, proving=True, share=0.0, text="proving the orders")
        threading.Thread(target=self._listen, args=(ours, False), daemon=True).start()

    def _end(self, *, plan: int = 0, error: str = "") -> None:
        seconds = time.monotonic() - self.state.began
        self.state = replace(
            self.state, running=False, stopping=False, share=1.0 if plan else 0.0, error=error,
            text="", plan=plan or self.state.plan, seconds=seconds,
        )  # fmt: skip
