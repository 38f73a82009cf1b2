"""Files and folders written whole or not at all."""

import os
import stat

import pytest

from scheduler.atomic import (
    recover_folder,
    replace_folder,
    replacement,
    write_file,
    write_new_folder,
)


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def test_a_file_replaces_the_older_one(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    write_file(path, "né")
    assert path.read_bytes() == "né".encode()
    assert list(tmp_path.iterdir()) == [path]


def test_a_private_file_is_for_its_owner_alone(tmp_path):
    write_file(tmp_path / "private", b"key", private=True)
    write_file(tmp_path / "public", b"table")
    assert [mode(tmp_path / n) for n in ("private", "public")] == [0o600, 0o644]


def test_an_error_leaves_the_older_file(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")

    def interrupted():
        with replacement(path) as part:
            part.write_text("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_in_a_folder_that_is_missing(tmp_path):
    with pytest.raises(FileNotFoundError):
        write_file(tmp_path / "no" / "a.txt", "text")


def test_a_new_folder_fills_an_empty_one_and_no_other(tmp_path):
    folder = tmp_path / "farm"
    folder.mkdir()
    write_new_folder(folder, {"a": b"1", "b": b"2"})
    assert sorted((p.name, p.read_bytes()) for p in folder.iterdir()) == [("a", b"1"), ("b", b"2")]
    with pytest.raises(OSError, match="not empty"):
        write_new_folder(folder, {"c": b"3"})
    assert sorted(p.name for p in folder.iterdir()) == ["a", "b"]
    assert list(tmp_path.iterdir()) == [folder]


def test_a_folder_is_replaced_with_all_its_files(tmp_path):
    folder = tmp_path / "plans" / "today"
    assert replace_folder(folder, {"a": b"1", "b": b"2"}) == [folder / "a", folder / "b"]
    replace_folder(folder, {"a": b"3"})
    assert [(p.name, p.read_bytes()) for p in folder.iterdir()] == [("a", b"3")]
    assert list(folder.parent.iterdir()) == [folder]
    assert mode(folder) == 0o700  # plans and reviews hold money
    assert mode(folder / "a") == 0o600


def test_recovery_leaves_folders_of_others_alone(tmp_path):
    """Only half-written folders of the same name go, and only when they are old."""
    names = (".today.x.new", ".other.x.new", ".today.y.new")
    for name in names:
        (tmp_path / name).mkdir()
    for name in names[:2]:
        os.utime(tmp_path / name, (0, 0))
    recover_folder(tmp_path / "today")
    assert sorted(p.name for p in tmp_path.iterdir()) == [".other.x.new", ".today.y.new"]
