"""Every broken input is answered by one line, the right exit code, and nothing written."""

import re
import shutil
from collections import Counter

import pytest
from broken_inputs import BROKEN, Broken

from scheduler.command import main
from scheduler.season_book.book import Book


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    folder = tmp_path_factory.mktemp("starter") / "farm"
    assert main(["new", str(folder)]) == 0
    assert main(["log", str(folder), "ground", "2", "soft", "--at", "2026-08-01"]) == 0
    return folder


def content(folder):
    """Bytes of every file but the database, and the number of entries in the book."""
    files = {
        p.relative_to(folder): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and "sqlite" not in p.name
    }
    with Book(folder) as book:
        return files, book.revision


@pytest.mark.parametrize("broken", BROKEN, ids=[f"{n}-{b.title}" for n, b in enumerate(BROKEN)])
def test_one_line_and_nothing_written(broken: Broken, starter, tmp_path, capsys):
    folder = tmp_path / "farm"
    shutil.copytree(starter, folder)
    broken.change(folder)
    if broken.before:
        assert main(broken.before.format(folder=folder).split()) == 0
    before = content(folder)
    capsys.readouterr()
    words = [w.replace("{folder}", str(folder)) for w in broken.words.split()]
    try:
        code = main(words)
    except SystemExit as stop:  # a usage error
        code = stop.code
    got = capsys.readouterr()
    assert code == broken.code
    assert got.out == ""
    assert got.err.count("\n") == 1
    line = got.err.strip().replace(str(folder), "{folder}").removeprefix("afterrain: ")
    pattern = ".+".join(map(re.escape, broken.line.split("…")))
    assert re.fullmatch(pattern, line), line
    assert content(folder) == before


def test_there_are_two_hundred_and_more_of_them_and_none_twice():
    assert len(BROKEN) >= 200
    assert max(Counter((b.title, b.line) for b in BROKEN).values()) == 1
