"""The files of a plan: sheet, plan.json, plan.csv, and a text and a calendar for each crew."""

from __future__ import annotations

import contextlib
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path

from scheduler.atomic import recover_folder, replace_folder
from scheduler.orders.model import Morning
from scheduler.report.crew_calendar import calendar, withdrawn
from scheduler.report.messages import idle_message, message
from scheduler.report.order_phrases import idle_crews
from scheduler.report.plan_csv import plan_csv
from scheduler.report.plan_document import plan_json
from scheduler.report.sheet import sheet


def write_plan(morning: Morning, folder: Path) -> list[Path]:
    """Write the plan into `folder`/plans/<date>, whole or not at all; return the files' paths."""
    home = folder / "plans" / morning.now.strftime("%Y-%m-%d")
    recover_folder(home)
    return replace_folder(home, plan_files(morning, earlier_calendars(home)))


def plan_files(morning: Morning, earlier: Mapping[str, bytes]) -> dict[str, bytes]:
    """Contents of every file of the plan, by name.

    Parameters
    ----------
    earlier : the calendars of the plan before, by file name.
    """
    document = json.dumps(plan_json(morning), indent=1, ensure_ascii=False, allow_nan=False)
    files = {
        "sheet.html": sheet(morning).encode(),
        "plan.json": document.encode(),
        "plan.csv": plan_csv(morning).encode("utf-8-sig"),  # the mark shows spreadsheets UTF-8
    }
    idle = idle_crews(morning)
    name_parts = file_name_parts([*(c.crew for c in morning.crews), *idle])
    for part, name in zip(name_parts[len(morning.crews) :], idle, strict=True):
        files[f"crew-{part}.txt"] = (idle_message(name, morning) + "\n").encode()
    for part, crew in zip(name_parts[: len(morning.crews)], morning.crews, strict=True):
        files[f"crew-{part}.txt"] = (message(crew, morning) + "\n").encode()
        name = f"crew-{part}.ics"
        files[name] = calendar(crew, morning, earlier.get(name, b""))
    gone = {name: withdrawn(old, morning) for name, old in earlier.items() if name not in files}
    return files | {name: content for name, content in gone.items() if content}


def earlier_calendars(home: Path) -> dict[str, bytes]:
    """Calendars of the last plan of the day of `home`, or of a day before, by file name.

    The crews' phones can hold these calendars. Calendars that cannot be read are left out.
    """
    days = sorted(d for d in home.parent.glob("????-??-??") if d.name <= home.name)
    found = {}
    for path in sorted(days[-1].glob("crew-*.ics")) if days else ():
        with contextlib.suppress(OSError):
            found[path.name] = path.read_bytes()
    return found


def file_name_parts(names: Sequence[str]) -> list[str]:
    """Turn each name into a part of a file name that is safe and differs from the others."""
    parts: list[str] = []
    for n, name in enumerate(names, 1):
        ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
        part = re.sub(r"[^a-z0-9]+", "-", ascii_only.lower()).strip("-")[:40] or str(n)
        while part in parts:
            part = f"{part}-{n}"
        parts.append(part)
    return parts
