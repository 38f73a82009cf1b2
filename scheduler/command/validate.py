"""Command `validate`: the models against open records."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path

from readiness.sources.daily_record import RecordError
from readiness.validation.validate import validate
from scheduler.atomic import write_file
from scheduler.command.columns import column_lines, fitted_widths
from scheduler.errors import AfterrainError
from scheduler.verification.model_page import validation_page
from scheduler.verification.model_tables import (
    CAVEAT,
    after_rain_lines,
    row_cells,
    station_lines,
    year_lines,
)

WIDTHS = (46, 36, 40, 8)  # of the columns, characters
AFTER_RAIN_WIDTHS = (15, 14, *[7] * 9, 9)  # of the columns of hours after rain
FOLDERS = ("soil_moisture", "days_suitable", "reference_et")


class ValidateError(AfterrainError):
    """The data folder cannot be used."""


def run_validate(args: argparse.Namespace) -> int:
    """Compare the models with the records, print the table and write the page."""
    if not args.folder.is_dir():
        raise ValidateError(f"{args.folder} is no folder: name one with open records")
    if not any((args.folder / name).is_dir() for name in FOLDERS):
        raise ValidateError(
            f"{args.folder} holds none of the folders {', '.join(FOLDERS)}: name another"
        )
    try:
        found = validate(args.folder)
    except RecordError as error:
        raise ValidateError(str(error)) from error
    rows = [("what", "target", "reached", ""), *map(row_cells, found.rows)]
    print("\n".join(column_lines(rows, WIDTHS)))
    if found.soils:
        print(
            "\nby station: r and unbiased RMSE (m³/m³); 5 cm guessed, trained, tested; 10 cm tested"
        )
        for name, *cells in station_lines(found.soils):
            print(f"  {name:26s}" + "".join(f"{c:12s}" for c in cells))
        print("\nby tested year, 5 cm calibrated, medians: r, unbiased RMSE, stations")
        for line in year_lines(found.soils):
            print("  " + "  ".join(line))
    print("\nhours from the end of rain until combines / carts may drive")
    lines = after_rain_lines(found.after_rain)
    print("\n".join(column_lines(lines, fitted_widths(lines, AFTER_RAIN_WIDTHS))))
    print("\n" + textwrap.fill(CAVEAT, 100))
    _write(args.out, validation_page(found))
    print(f"\nwritten: {args.out}")
    return 0


def _write(path: Path, text: str) -> None:
    """Write the file whole or not at all."""
    try:
        write_file(path, text)
    except OSError as error:
        raise ValidateError(f"cannot write {path}: {error.strerror}") from error
