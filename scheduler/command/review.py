"""Command `review`: the season looked back on."""

from __future__ import annotations

import argparse
from datetime import timedelta

from scheduler.command.planning_time import planning_time
from scheduler.command.progress_bar import ProgressBar
from scheduler.farm_files.folder import read_farm
from scheduler.language.translation import _
from scheduler.review.page import write_review
from scheduler.review.phrases import REVIEW_STAGE, review_terminal
from scheduler.review.review import review_season


def run_review(args: argparse.Namespace) -> int:
    """Review the season, print the review and write its files."""
    farm = read_farm(args.folder)
    until = None
    if args.until is not None:
        until = planning_time(args.until, farm, option="--until").replace(
            hour=0, minute=0
        ) + timedelta(days=1)
    with ProgressBar(REVIEW_STAGE) as show:
        review = review_season(
            args.folder, book=args.book, until=until, seed=args.seed, progress=show
        )
    # files come first: whoever reads the output may close it early
    paths = [] if args.no_files else write_review(review, args.folder)
    print(review_terminal(review))
    if paths:
        files = ", ".join(p.name for p in paths)
        print("\n" + _("written to {folder}: {files}", folder=paths[0].parent, files=files))
    return 0
