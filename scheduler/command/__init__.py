"""The command `afterrain`: reads words, calls the packages, prints lines, returns an exit code.

Layer: may import everything.

- `farm`: new, check
- `plan`: plan, ready, price
- `weather`: fetch, verify
- `book`: log, export, import, backup, serve
- `review`: review
- `validate`: validate
- `rehearse`: rehearse, whatif
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from scheduler.errors import AfterrainError

#: Modules that each add their own subcommands through `register(subparsers)`; a subcommand
#: sets `run`, a function from the parsed arguments to the exit code.
GROUPS = ("farm", "plan", "weather", "book", "review", "validate", "rehearse")


def parser() -> argparse.ArgumentParser:
    """Build the parser of the whole command."""
    top = argparse.ArgumentParser(
        prog="afterrain",
        description="Which fields can be cut after the rain, from what hour, and in what order.",
    )
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for group in GROUPS:
        importlib.import_module(f"scheduler.command.{group}").register(commands)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Exit codes: 0 done, 1 user error, 2 usage, 3 no feasible plan."""
    args = parser().parse_args(argv)
    try:
        code: int = args.run(args)
    except AfterrainError as error:
        print(f"afterrain: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("afterrain: stopped; nothing half-written is left", file=sys.stderr)
        return 1
    return code
