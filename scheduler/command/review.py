"""Command `review`: the season looked back on."""

from __future__ import annotations

import argparse
from datetime import timedelta
from pathlib import Path
from typing import Any

from scheduler.command.plan import ProgressBar, moment
from scheduler.farm_files.folder import read_farm


def register(commands: Any) -> None:
    """Add this group's subcommands."""
    review = commands.add_parser(
        "review", help="where the season's hours went, what they cost, what would have helped"
    )
    review.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    review.add_argument(
        "--until", metavar="DATE", help="last day looked at; the last day of cutting by default"
    )
    review.add_argument(
        "--book", type=Path, metavar="FILE", help="a season book elsewhere, as a backup"
    )
    review.add_argument("--seed", type=int, default=0, metavar="N", help="random seed")
    review.add_argument("--no-files", action="store_true", help="print only, write nothing")
    review.set_defaults(run=run_review)


def run_review(args: argparse.Namespace) -> int:
    """Review, print, write."""
    from scheduler.review.page import write_review
    from scheduler.review.phrases import REVIEW_STAGE, review_terminal
    from scheduler.review.review import review_season  # the solver only where it is asked for

    farm = read_farm(args.folder)
    until = None
    if args.until is not None:
        until = moment(args.until, farm).replace(hour=0, minute=0) + timedelta(days=1)
    with ProgressBar(REVIEW_STAGE) as show:
        review = review_season(
            args.folder, book=args.book, until=until, seed=args.seed, progress=show
        )
    print(review_terminal(review))
    if not args.no_files:
        paths = write_review(review, args.folder)
        print(f"\nwritten to {paths[0].parent}: " + ", ".join(p.name for p in paths))
    return 0
