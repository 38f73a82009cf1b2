"""The command `afterrain`: parses arguments, calls the packages, prints lines, returns exit codes.

Layer: may import everything.

- `parser`: every subcommand with its options
- `planning_time`: the planning time that `--on` gives
- `progress_bar`: a progress bar on the terminal
- `columns`: rows of text in columns
- `farm`: new, check
- `plan`: plan, ready, price
- `fetch`: fetch
- `verify`: verify
- `book`: log, export, import, backup
- `serve`: serve
- `review`: review
- `validate`: validate
- `rehearse`: rehearse, whatif
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Sequence

from scheduler.command.parser import parsed
from scheduler.errors import AfterrainError
from scheduler.language.translation import set_language

#: Faults of a disk that no part of the program can mend.
DISK_FAULTS = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOSPC, errno.EDQUOT, errno.EIO)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : the words after `afterrain`; those of the process by default.

    Returns
    -------
    The exit code: 0 done, 1 user error, 2 usage, 3 no feasible plan.
    """
    args = parsed(sys.argv[1:] if argv is None else argv)
    try:
        if folder := getattr(args, "folder", None):
            from scheduler.farm_files.folder import farm_language  # loads pandas

            set_language(farm_language(folder))
        code: int = args.run(args)
        sys.stdout.flush()
    except AfterrainError as error:
        print(f"afterrain: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("afterrain: stopped; nothing half-written is left", file=sys.stderr)
        return 1
    except BrokenPipeError:  # whoever read the output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        if error.errno not in DISK_FAULTS:
            raise
        print(f"afterrain: {_disk_fault(error)}", file=sys.stderr)
        return 1
    return code


def _disk_fault(error: OSError) -> str:
    """What a disk refuses, where, and what to do."""
    where = f"{error.filename}: " if error.filename else ""
    return (
        f"{where}cannot be read or written ({error.strerror}); make room on the disk, or give "
        "yourself permission, then try again"
    )
