"""A progress bar on the terminal."""

from __future__ import annotations

import sys
from collections.abc import Mapping

from tqdm import tqdm

from scheduler.language.translation import _
from scheduler.solver.stages import Progress, Stage


class ProgressBar:
    """Context that draws progress on a terminal, and nothing elsewhere.

    Parameters
    ----------
    words : what each stage does; `_` translates it.
    """

    def __init__(self, words: Mapping[Stage, str]) -> None:
        self.words = words
        self.bar = tqdm(
            total=100, disable=None, leave=False, file=sys.stderr, bar_format="{l_bar}{bar}| {desc}"
        )

    def show(self, stage: Stage, share: float) -> None:
        """Draw the bar for a stage and the share of the work done."""
        self.bar.set_description_str(_(self.words[stage]), refresh=False)
        self.bar.n = round(100 * share)
        self.bar.refresh()

    def __enter__(self) -> Progress:
        return self.show

    def __exit__(self, *_error: object) -> None:
        self.bar.close()
