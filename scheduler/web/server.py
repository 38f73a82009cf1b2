"""The web server of the page: addresses, threads, an orderly end."""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import waitress

from scheduler.errors import AfterrainError
from scheduler.web.access import read_access, set_passphrase
from scheduler.web.app import create_app
from scheduler.web.guard import MAX_FORM_BYTES
from scheduler.web.planner import Planner

THREADS = 8  # answers at the same time; assumed, as many as a farm has people


def shifted_clock(start: datetime) -> Callable[[], datetime]:
    """Make a clock that shows `start` now and runs on from there."""
    began = time.monotonic()
    return lambda: start + timedelta(seconds=time.monotonic() - began)


def own_addresses() -> list[str]:
    """Addresses of this machine on its networks."""
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, family=socket.AF_INET)
    except OSError:
        return []
    return sorted({str(a[4][0]) for a in found if not str(a[4][0]).startswith("127.")})


def _bound_socket(host: str, port: int) -> socket.socket:
    """Bind a socket; AfterrainError where the port is taken."""
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name != "nt":  # where two programs could then share the port
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        raise AfterrainError(
            f"port {port} cannot be had ({error.strerror}): is the page running already? or give "
            "another with --port"
        ) from None
    return bound


def serve(
    folder: Path,
    *,
    port: int,
    network: bool,
    passphrase: str = "",
    names: frozenset[str] = frozenset(),
    start: datetime | None = None,
) -> None:
    """Serve a farm folder until interrupted.

    Parameters
    ----------
    network : whether the farm network is served too, not only this machine.
    passphrase : new passphrase; empty keeps the old one.
    names : further names this machine is reached by.
    start : time that the page's clock shows at first; the machine's time by default.

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
    bound = _bound_socket("0.0.0.0" if network else "127.0.0.1", port)
    server = waitress.create_server(
        app, sockets=[bound], threads=THREADS, ident="", max_request_body_size=2 * MAX_FORM_BYTES
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
