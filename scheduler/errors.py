"""The errors that a user can meet; `scheduler.command` turns each into a line and an exit code."""


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


class UnreadableError(AfterrainError):
    """A value cannot be read; `remedy` is what to write instead."""

    def __init__(self, message: str, remedy: str) -> None:
        super().__init__(f"{message}; {remedy}")
        self.message, self.remedy = message, remedy
