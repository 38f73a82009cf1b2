"""The errors that a user can meet; `scheduler.command` turns each into a line and an exit code."""

from dataclasses import dataclass


class AfterrainError(Exception):
    """Base of every error that is shown as a message; `exit_code` is that of the command."""

    exit_code = 1


class FarmError(AfterrainError):
    """The farm folder is wrong; the message gives file, row, column and remedy."""


class WeatherError(AfterrainError):
    """Weather is missing, stale or unreadable."""


class BookError(AfterrainError):
    """The season book refuses an entry or cannot be opened."""


class EntryError(BookError):
    """An entry is refused; `problems` are messages by the name of the fact."""

    def __init__(self, problems: dict[str, str]) -> None:
        lines = (p if n in ("subject", "kind") else f"{n}: {p}" for n, p in problems.items())
        super().__init__("\n".join(lines))
        self.problems = problems


class ConflictError(BookError):
    """Somebody else wrote about the same subject in the meantime; nothing was written."""


class NoPlanError(AfterrainError):
    """No feasible plan exists; the message names the binding reason."""

    exit_code = 3


class NothingToCutError(NoPlanError):
    """No crew can cut anything in any hour planned."""


class UnreadableError(AfterrainError):
    """A value cannot be read; `remedy` is what to write instead."""

    def __init__(self, message: str, remedy: str) -> None:
        super().__init__(f"{message}; {remedy}")
        self.message, self.remedy = message, remedy


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Something wrong in a file: where, what, and what to do.

    Attributes
    ----------
    file : name of the file.
    row : line number, or table of farm.toml; '' for the whole file.
    column : heading or key; '' for the whole row.
    message, remedy : what is wrong, and what to do.
    """

    file: str
    row: str = ""
    column: str = ""
    message: str
    remedy: str

    def __str__(self) -> str:
        row = f" row {self.row}" if self.row.isdigit() else f" {self.row}" if self.row else ""
        column = f", {self.column}" if self.column else ""
        return f"{self.file}{row}{column}: {self.message}; {self.remedy}"
