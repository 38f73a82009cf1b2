"""Planning in a process of its own, so that the page answers while a plan is made."""

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
from datetime import datetime
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

from scheduler.errors import AfterrainError

GRACE_S = 3.0  # from asking to stop to killing; assumed, a step of the search takes less
PRICE_S = 20.0  # to wait for a price; assumed, because it takes a second once a plan is there
NICE = 5  # the planner gives way to the page's answers


class Stopped(Exception):  # noqa: N818
    """The run was cancelled."""


@dataclass(frozen=True, kw_only=True)
class State:
    """Where a replan stands. `plan` is the entry of the last plan it issued."""

    running: bool = False
    stopping: bool = False
    share: float = 0.0
    text: str = ""
    error: str = ""
    plan: int = 0
    began: float = 0.0
    seconds: float = 0.0


def work(folder: str, module: str, pipe: Connection, stop: Event) -> None:
    """Answer requests until the pipe closes. Runs in the worker process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError):
        os.nice(NICE)
    planner = importlib.import_module(module)
    morning: Any = None
    while True:
        try:
            what, payload = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            if what == "plan":
                morning = _plan(folder, planner, payload, pipe, stop)
            elif morning is None:
                pipe.send(("priced", (payload[0], None, "replan first, then price an order")))
            else:
                loss, lines = planner.price_order(Path(folder), morning, payload[1])
                pipe.send(("priced", (payload[0], (loss, list(lines)), "")))
        except Stopped:
            pipe.send(("stopped", None))
        except AfterrainError as error:
            _failed(pipe, what, payload, str(error))
        except Exception:
            traceback.print_exc()
            _failed(pipe, what, payload, "the planner failed; its report is on the terminal")


def _failed(pipe: Connection, what: str, payload: Any, text: str) -> None:
    pipe.send(("failed", text) if what == "plan" else ("priced", (payload[0], None, text)))


def _plan(folder: str, planner: Any, now: datetime | None, pipe: Connection, stop: Event) -> Any:
    """Make a plan and issue it; its sheet and files are written after the orders are out."""
    from scheduler.book import Book
    from scheduler.issued import document
    from scheduler.outlets import write_plan

    def told(share: float, text: str) -> None:
        if stop.is_set():
            raise Stopped
        pipe.send(("progress", (float(share), str(text))))

    with Book(folder) as book:
        seen = book.revision
    told(0.0, "reading the farm, the weather and the book")
    morning = planner.plan_morning(Path(folder), now=now, progress=told)
    told(0.95, "writing the orders")
    with Book(folder) as book:
        entry = book.issue_plan(document(morning), seen=seen)
    pipe.send(("done", entry.id))
    write_plan(morning, Path(folder))
    pipe.send(("sheet", entry.id))
    return morning


class Planner:
    """The worker as the page sees it; one run at a time, safe to call from many threads.

    Parameters
    ----------
    module : where `plan_morning` and `price_order` are found.
    """

    def __init__(self, folder: Path, *, module: str = "scheduler.plan") -> None:
        self.folder, self.module = folder, module
        self.state = State()
        self._changed = threading.Condition()
        self._answers: dict[int, tuple[Any, str]] = {}
        self._asked = 0
        self._process: Any = None
        self._pipe: Connection | None = None
        self._stop: Any = None

    def _ready(self) -> Connection:
        """The pipe to a living worker; starts one where there is none."""
        if self._process is None or not self._process.is_alive():
            spawn = multiprocessing.get_context("spawn")
            ours, theirs = spawn.Pipe()
            self._stop = spawn.Event()
            self._process = spawn.Process(
                target=work, args=(str(self.folder), self.module, theirs, self._stop), daemon=True
            )
            self._process.start()
            theirs.close()
            self._pipe = ours
            threading.Thread(target=self._listen, args=(ours,), daemon=True).start()
        assert self._pipe is not None
        return self._pipe

    def warm(self) -> None:
        """Start the worker before it is asked, so that its first answer is quick."""
        with self._changed:
            self._ready()

    def start(self, now: datetime | None = None) -> bool:
        """Begin a replan; False where one runs already, which then serves this caller too."""
        with self._changed:
            if self.state.running:
                return False
            pipe = self._ready()
            self._stop.clear()
            self.state = State(
                running=True, text="starting", plan=self.state.plan, began=time.monotonic()
            )
            pipe.send(("plan", now))
            return True

    def cancel(self) -> None:
        """Ask a run to stop; it is killed where it does not within `GRACE_S`."""
        with self._changed:
            if not self.state.running or self.state.stopping:
                return
            self._stop.set()
            self.state = replace(self.state, stopping=True, text="stopping")
            began, process = self.state.began, self._process
        threading.Timer(GRACE_S, self._kill, (began, process)).start()

    def _kill(self, began: float, process: Any) -> None:
        with self._changed:
            if self.state.running and self.state.began == began:
                process.kill()

    def price(self, orders: Mapping[str, list[str]]) -> tuple[float, list[str]]:
        """Expected loss of orders by crew, and what to say of it.

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
            mine = self._asked
            pipe.send(("price", (mine, dict(orders))))
            worker = self._process
            self._changed.wait_for(
                lambda: mine in self._answers or not worker.is_alive(), timeout=PRICE_S
            )
            result, error = self._answers.pop(mine, (None, "no price in time: try again"))
        if result is None:
            raise AfterrainError(error)
        return float(result[0]), list(result[1])

    def close(self) -> None:
        """End the worker."""
        with self._changed:
            if self._process is not None:
                self._process.kill()
                self._process.join(5)

    def _listen(self, pipe: Connection) -> None:
        """Take what the worker says until it ends."""
        try:
            while True:
                what, payload = pipe.recv()
                with self._changed:
                    self._take(what, payload)
                    self._changed.notify_all()
        except (EOFError, OSError):
            with self._changed:
                if self.state.running:
                    told = "cancelled" if self.state.stopping else "the planner ended unexpectedly"
                    self._end(error=told)
                self._changed.notify_all()

    def _take(self, what: str, payload: Any) -> None:
        if what == "progress" and self.state.running:
            share, text = payload
            if not self.state.stopping:
                self.state = replace(self.state, share=share, text=text)
        elif what == "done":
            self._end(plan=payload)
        elif what == "failed":
            self._end(error=payload)
        elif what == "stopped":
            self._end(error="cancelled; the orders before it hold")
        elif what == "priced":
            number, result, error = payload
            self._answers[number] = (result, error)

    def _end(self, *, plan: int = 0, error: str = "") -> None:
        seconds = time.monotonic() - self.state.began
        self.state = replace(
            self.state, running=False, stopping=False, share=1.0 if plan else 0.0, error=error,
            text="", plan=plan or self.state.plan, seconds=seconds,
        )  # fmt: skip
