"""The morning that most tests of files and texts print."""

import mornings
import pytest

from scheduler.report import files


@pytest.fixture
def morning():
    return mornings.morning(fields=4, days=3, members=5)


@pytest.fixture
def drawn(monkeypatch):
    """Files without the pictures, which other tests draw."""
    monkeypatch.setattr(files, "sheet", lambda morning: "<html>drawn elsewhere</html>")
