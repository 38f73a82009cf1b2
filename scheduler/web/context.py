"""What every view of the page needs: the folder, its farm and book, the planner, the clock."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm
from scheduler.orders.document import IssuedPlan, read_issued_plan
from scheduler.season_book.book import Book
from scheduler.season_book.kinds import Entry
from scheduler.web.worker import Planner

FARM_FILES = ("farm.toml", "fields.csv", "fields.geojson", "rain.csv")


class AppContext:
    """What every view needs: the folder, its farm and book, the planner, the clock."""

    def __init__(self, folder: Path, planner: Planner, held: Callable[[], datetime] | None) -> None:
        self.folder, self.planner, self.held = folder, planner, held
        self._lock = threading.Lock()
        self._farm: tuple[tuple[float, ...], Farm] | None = None
        self._issued: tuple[int, Farm, IssuedPlan] | None = None

    def clock(self) -> datetime:
        """Now: the machine's time, or that of a clock that was set."""
        return self.held() if self.held else datetime.now(UTC)

    def farm(self) -> Farm:
        """The farm, read again when one of its files changed."""
        paths = [self.folder / name for name in FARM_FILES]
        stamp = tuple(p.stat().st_mtime if p.exists() else 0.0 for p in paths)
        with self._lock:
            if self._farm is None or self._farm[0] != stamp:
                self._farm = stamp, read_farm(self.folder)
            return self._farm[1]

    @contextmanager
    def book(self) -> Iterator[Book]:
        """The season book, open for one request."""
        with Book(self.folder) as book:
            yield book

    def issued(self, book: Book) -> tuple[Entry | None, IssuedPlan | None]:
        """The orders issued last and their entry."""
        entry, farm = book.last_issue(), self.farm()
        if entry is None:
            return None, None
        with self._lock:
            known = self._issued
        if known is None or known[0] != entry.id or known[1] is not farm:
            plan = book.plan(entry.id)
            assert plan is not None  # written in the same transaction
            known = entry.id, farm, read_issued_plan(plan, farm)
            with self._lock:
                self._issued = known
        return entry, known[2]
