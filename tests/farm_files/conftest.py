"""The starter farm, which most tests of farm files edit."""

import pytest

from scheduler.farm_files.new_folder import new_farm


@pytest.fixture
def folder(tmp_path):
    new_farm(tmp_path / "farm")
    return tmp_path / "farm"
