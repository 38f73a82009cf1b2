"""Command `serve`: the page in a browser."""

from __future__ import annotations

import argparse
import getpass
import sys

from scheduler.command.planning_time import planning_time
from scheduler.errors import BookError
from scheduler.farm_files.folder import read_farm
from scheduler.web.server import serve
from scheduler.web.tls import Certificate


def run_serve(args: argparse.Namespace) -> int:
    """Serve the page until interrupted."""
    farm = read_farm(args.folder)
    if not 0 < args.port < 65536:
        raise BookError(f"--port must be 1 to 65535, got {args.port}")
    if (args.certificate is None) != (args.key is None):
        raise BookError("--certificate and --key go together: give both files")
    certificate = args.certificate and Certificate(chain=args.certificate, key=args.key)
    passphrase = _new_passphrase() if args.set_passphrase else ""
    serve(
        args.folder,
        port=args.port,
        network=args.network,
        passphrase=passphrase,
        names=frozenset(n.lower() for n in args.name),
        start=planning_time(args.on, farm) if args.on else None,
        certificate=certificate,
    )
    return 0


def _new_passphrase() -> str:
    """Ask for the passphrase twice on a terminal; elsewhere read a line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("New passphrase: ")
    if getpass.getpass("Once more: ") != first:
        raise BookError("the two were not the same: nothing was changed")
    return first
