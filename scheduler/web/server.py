"""Serving the page: addresses, threads, an orderly end."""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import waitress

from scheduler.errors import AfterrainError
from scheduler.web.access import MAX_FORM_BYTES, read_access, set_passphrase
from scheduler.web.app import create_app
from scheduler.web.worker import Planner

THREADS = 8  # answers at once; assumed, a farm's people


def shifted_clock(start: datetime) -> Callable[[], datetime]:
    """A clock that was set to `start` now and runs on from there."""
    began = time.monotonic()
    return lambda: start + timedelta(seconds=time.monotonic() - began)


def own_addresses() -> list[str]:
    """Numbers of this machine on its networks."""
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, family=socket.AF_INET)
    except OSError:
        return []
    return sorted({str(a[4][0]) for a in found if not str(a[4][0]).startswith("127.")})


def _bound(host: str, port: int) -> socket.socket:
    """A listening place; AfterrainError where the port is taken."""
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name != "nt":  # there it would let two programs share the port
            door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind((host, port))
    except OSError as error:
        door.close()
        raise AfterrainError(
            f"port {port} cannot be had ({error.strerror}): is the page running already? or give "
            "another with --port"
        ) from None
    return door


def serve(
    folder: Path,
    *,
    port: int,
    network: bool,
    passphrase: str = "",
    names: frozenset[str] = frozenset(),
    start: datetime | None = None,
) -> None:
    """Serve a farm folder until interrupted: on this machine only, or on the network if asked.

    Raises
    ------
    AfterrainError
        Where the network is asked for without a passphrase, or the port is taken.
    """
    access = set_passphrase(folder, passphrase) if passphrase else read_access(folder)
    if network and not access.passphrase:
        raise AfterrainError(
            "the farm network is served only with a passphrase: add --set-passphrase once"
        )
    planner = Planner(folder)
    app = create_app(
        folder,
        planner=planner,
        locked=network,
        access=access,
        now=shifted_clock(start) if start else None,
        names=names,
    )
    door = _bound("0.0.0.0" if network else "127.0.0.1", port)
    server = waitress.create_server(
        app, sockets=[door], threads=THREADS, ident="", max_request_body_size=2 * MAX_FORM_BYTES
    )
    for address in ["127.0.0.1", *(own_addresses() if network else [])]:
        print(f"http://{address}:{port}/", flush=True)
    print("Stop with Ctrl+C.", flush=True)
    planner.warm()
    try:
        server.run()
    finally:
        planner.close()
        server.close()
