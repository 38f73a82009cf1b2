"""The errors a user can meet; `scheduler.command` turns them into one line and an exit code."""


class AfterrainError(Exception):
    """Base of every error that is told in one line. `exit_code` is what the command returns."""

    exit_code = 1


class FarmError(AfterrainError):
    """The farm folder is wrong: the message says file, row, column and what to do."""


class WeatherError(AfterrainError):
    """Weather is missing, stale or unreadable."""


class BookError(AfterrainError):
    """The season book refuses an entry or cannot be opened."""


class EntryError(BookError):
    """An entry is refused. `problems` are messages by the name of the fact."""

    def __init__(self, problems: dict[str, str]) -> None:
        lines = (p if n in ("subject", "kind") else f"{n}: {p}" for n, p in problems.items())
        super().__init__("\n".join(lines))
        self.problems = problems


class ConflictError(BookError):
    """Someone else wrote about the same in the meantime; nothing was written."""


class NoPlanError(AfterrainError):
    """No feasible plan: the message says what binds."""

    exit_code = 3


class UnreadableError(AfterrainError):
    """One value in a file cannot be read. `remedy` says what to write instead."""

    def __init__(self, message: str, remedy: str) -> None:
        super().__init__(f"{message}; {remedy}")
        self.message, self.remedy = message, remedy
