"""A farm folder and its page, asked without a browser."""

import pytest
from page_requests import NOW, farm_folder

from scheduler.web.app import create_app
from scheduler.web.planner import Planner


@pytest.fixture
def folder(tmp_path):
    return farm_folder(tmp_path)


@pytest.fixture
def planner(folder):
    made = Planner(folder, module="fake_planner")
    yield made
    made.close()


@pytest.fixture
def app(folder, planner):
    return create_app(folder, planner=planner, now=lambda: NOW)


@pytest.fixture
def client(app):
    return app.test_client()
