"""The season book after killed writers and crowds of writers: every acknowledged entry is there."""

import multiprocessing
import os
import random
import signal
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry

KILLS = 200
WRITERS = 8
AT = datetime(2026, 8, 16, 11, tzinfo=UTC)
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["scheduler.season_book.book"])


def rain(number: float) -> Entry:
    return Entry(kind="rain", subject="NORTH", at=AT, facts={"rain": number})


def write_on(folder: str, acks, seed: int) -> None:
    """Write entries, corrections, withdrawals and plans until killed; acknowledge each."""
    chance = random.Random(seed)
    with Book(folder) as book:
        while True:
            entry = book.add(rain(chance.random()))
            acks.send_bytes(entry.token.encode())
            fixed = book.add(replace(rain(chance.random()), replaces=entry.id))
            acks.send_bytes(fixed.token.encode())
            acks.send_bytes(book.withdraw(fixed.id).token.encode())
            document = {"made": "2026-08-16T11:00:00Z", "pad": "x" * chance.randrange(60_000)}
            acks.send_bytes(book.issue_plan(document, seen=entry.id).token.encode())


def acknowledged(pipe) -> set[str]:
    """Read every whole acknowledgement until the pipe ends."""
    tokens = set()
    try:
        while True:
            tokens.add(pipe.recv_bytes().decode())
    except (EOFError, OSError):
        return tokens


@pytest.mark.slow
def test_no_acknowledged_entry_is_lost_when_writers_are_killed(tmp_path):
    chance, acked, midway = random.Random(6), set(), 0
    for kill in range(KILLS):
        ours, theirs = PROCESSES.Pipe(duplex=False)
        child = PROCESSES.Process(target=write_on, args=(str(tmp_path), theirs, kill))
        child.start()
        theirs.close()
        ours.poll(10)  # the child has begun to write
        time.sleep(chance.random() * 0.03)
        os.kill(child.pid, signal.SIGKILL)
        child.join(10)
        assert child.exitcode == -signal.SIGKILL
        acked |= acknowledged(ours)
        with Book(tmp_path) as book:
            assert book.integrity() == "ok"
            kept = {e.token for e in book.entries(superseded=True)}
            plans = book.entries("plan", superseded=True)
            assert all(book.plan(e.id) is not None for e in plans)  # no plan is half written
        assert acked <= kept
        midway += len(kept) - len(acked) > 0
    assert len(acked) > KILLS
    assert midway > 0  # some kills fell between the write and its acknowledgement


def write_for(folder: str, writer: int, count: int, seconds: float, results) -> None:
    """Write `count` entries of one of many writers, or as many as fit into the seconds."""
    tokens, until = [], time.monotonic() + seconds
    with Book(folder) as book:
        while len(tokens) < count and time.monotonic() < until:
            tokens.append(book.add(rain(writer + len(tokens) / 1e6)).token)
    results.send(tokens)


def crowd(folder: Path, count: int, seconds: float) -> int:
    """Let all writers write at once; return the number of entries, which are all in the book."""
    jobs = []
    for writer in range(WRITERS):
        ours, theirs = PROCESSES.Pipe(duplex=False)
        args = (str(folder), writer, count, seconds, theirs)
        jobs.append((PROCESSES.Process(target=write_for, args=args), ours))
    for job, _ in jobs:
        job.start()
    tokens = [t for _, pipe in jobs for t in pipe.recv()]
    for job, _ in jobs:
        job.join(30)
        assert job.exitcode == 0
    with Book(folder) as book:
        kept = [e.token for e in book.entries(superseded=True)]
        assert book.integrity() == "ok"
    assert sorted(kept) == sorted(tokens)  # none lost, none twice
    return len(tokens)


def open_for(folders: list[str], moments: list[float]) -> None:
    """Open the books of the folders at the moments, which all callers share."""
    for folder, moment in zip(folders, moments, strict=True):
        time.sleep(max(moment - time.monotonic(), 0.0))
        with Book(folder):
            pass


@pytest.mark.slow
def test_programs_that_make_one_book_at_once_all_open_it(tmp_path):
    folders = [tmp_path / str(i) for i in range(40)]
    for folder in folders:
        folder.mkdir()
    moments = [time.monotonic() + 2.0 + 0.05 * i for i in range(len(folders))]
    args = ([str(f) for f in folders], moments)
    jobs = [PROCESSES.Process(target=open_for, args=args) for _ in range(WRITERS)]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join(60)
    assert [job.exitcode for job in jobs] == [0] * WRITERS


def test_eight_writers_at_once_lose_nothing(tmp_path):
    # the first writer makes the book, which is a race too
    assert crowd(tmp_path, 40, 120.0) == WRITERS * 40


@pytest.mark.slow
def test_eight_writers_for_a_minute_lose_nothing(tmp_path):
    assert crowd(tmp_path, 10**9, 60.0) > WRITERS
