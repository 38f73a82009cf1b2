"""Requests to the page without a browser, for several test files."""

import re
from dataclasses import replace
from datetime import timedelta

import mornings
from farm_folder import copy_sample

from scheduler.farm_files.folder import read_farm
from scheduler.orders.document import read_issued_plan
from scheduler.report.plan_document import document
from scheduler.season_book.book import Book

NOW = mornings.NOW + timedelta(minutes=10)
LOCAL = {"base_url": "http://127.0.0.1:8377"}
PASSPHRASE = "dry straw in august"


def farm_folder(path):
    return copy_sample(path, "farm.toml", "fields.csv", "rain.csv")


def get(client, path, code=200):
    answer = client.get(path, **LOCAL)
    assert answer.status_code == code, answer.text
    return answer.text


def csrf(text):
    return re.search(r'name="csrf_token" value="([^"]+)"', text)[1]


def hidden(text):
    """Hidden inputs of the first form that has a token of an entry."""
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', text))


def login(client, text=PASSPHRASE):
    form = hidden(get(client, "/login"))
    return client.post("/login", data={**form, "passphrase": text}, **LOCAL)


def issue(folder, **changes):
    """Put a plan into the book without a planner."""
    import fake_planner

    morning = fake_planner.plan_morning(folder, progress=lambda *_: None, now=mornings.NOW)
    morning = replace(morning, **changes)
    with Book(folder) as book:
        book.issue_plan(document(morning), seen=book.revision)
    return morning


def shown_plan(folder):
    """The plan that the page shows."""
    with Book(folder) as book:
        return read_issued_plan(book.last_plan(), read_farm(folder))
