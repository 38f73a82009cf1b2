"""Application context: the folder, its farm and season book, the planner and the clock."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

from flask import current_app

from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm
from scheduler.orders.document import IssuedPlan, read_issued_plan
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.web.access.private_state import PrivateState
from scheduler.web.planner import Planner

#: Files whose change makes the farm be read again.
FARM_FILES = ("farm.toml", "fields.csv", "fields.geojson", "soil.csv", "rain.csv")
EXTENSION = "afterrain"  # key of the context in the app's extensions


class AppContext:
    """What the views need of one farm folder.

    Parameters
    ----------
    addresses : addresses of the page that a phone can open.
    clock : gives the time now, aware; the machine's clock by default.
    """

    def __init__(
        self,
        folder: Path,
        planner: Planner,
        state: PrivateState,
        clock: Callable[[], datetime] | None = None,
        *,
        addresses: tuple[str, ...] = (),
    ) -> None:
        self.folder, self.planner, self.state = folder, planner, state
        self.addresses = addresses
        self.clock = clock or (lambda: datetime.now(UTC))
        self._lock = threading.Lock()
        self._farm: tuple[tuple[float, ...], Farm] | None = None
        self._issued: tuple[int, Farm, IssuedPlan] | None = None

    def farm(self) -> Farm:
        """Return the farm; read it again when one of its files has changed."""
        paths = [self.folder / name for name in FARM_FILES]
        stamps = tuple(p.stat().st_mtime if p.exists() else 0.0 for p in paths)
        with self._lock:
            if self._farm is None or self._farm[0] != stamps:
                self._farm = stamps, read_farm(self.folder)
            return self._farm[1]

    def book(self) -> Book:
        """Open the season book for one request."""
        return Book(self.folder)

    def issued(self, book: Book) -> tuple[Entry | None, IssuedPlan | None]:
        """Return the entry of the last issued plan, and that plan."""
        entry, farm = book.last_issue(), self.farm()
        if entry is None:
            return None, None
        with self._lock:
            cached = self._issued
        if cached is None or cached[0] != entry.id or cached[1] is not farm:
            document = book.plan(entry.id)
            assert document is not None  # written in the same transaction as the entry
            cached = entry.id, farm, read_issued_plan(document, farm)
            with self._lock:
                self._issued = cached
        return entry, cached[2]

    def plan_of(self, book: Book, number: int) -> IssuedPlan | None:
        """Return the plan of an entry; None where the book has no such plan."""
        document = book.plan(number)
        return None if document is None else read_issued_plan(document, self.farm())

    def issued_plan(self) -> IssuedPlan | None:
        """Return the last issued plan."""
        with self.book() as book:
            return self.issued(book)[1]


def app_context() -> AppContext:
    """Context of the app that answers the current request."""
    return cast(AppContext, current_app.extensions[EXTENSION])
