"""The web server of the page: addresses, limits of connections, threads, an orderly end."""

from __future__ import annotations

import ipaddress
import os
import socket
import time
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path

import psutil
import waitress
from flask import Flask
from waitress.server import BaseWSGIServer

from scheduler.errors import AfterrainError
from scheduler.web.access.guard import MAX_FORM_BYTES
from scheduler.web.access.passphrase import read_access, set_passphrase
from scheduler.web.app import create_app
from scheduler.web.planner import Planner
from scheduler.web.tls import Certificate, TlsChannel, tls_socket

THREADS = 8  # answers at the same time; assumed, as many as a farm has people
#: Open connections; assumed, some for each phone of a large outfit, and below the 1,024 open files
#: that common systems allow a program.
MAX_CONNECTIONS, BACKLOG = 800, 256
#: Silence after which a connection is closed, and how often that is looked after, s; assumed,
#: because a phone with a weak signal pauses for seconds, not for half a minute.
IDLE_S, CLEANUP_S = 30, 5
#: Bytes read at once: no fewer than a TLS record holds (2**14, RFC 8446 section 5.1), because what
#: the TLS layer has read already wakes no poll.
RECEIVE_BYTES = 2**15


def shifted_clock(start: datetime) -> Callable[[], datetime]:
    """Make a clock that shows `start` now and runs on from there."""
    began = time.monotonic()
    return lambda: start + timedelta(seconds=time.monotonic() - began)


def own_addresses() -> list[str]:
    """Addresses (IPv4) of this machine that phones on one of its networks can open."""
    found = [a for cards in psutil.net_if_addrs().values() for a in cards]
    numbers = {ipaddress.IPv4Address(a.address) for a in found if a.family == socket.AF_INET}
    return [str(n) for n in sorted(numbers) if n.is_private and not n.is_loopback]


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


def page_server(app: Flask, bound: socket.socket, *, scheme: str = "http") -> BaseWSGIServer:
    """Make the server of the page on a bound socket; `run` serves until `close`.

    One thread reads all requests and hands over those that are whole, so that connections that
    send nothing, or little by little, keep nobody waiting.
    """
    server = waitress.create_server(
        app,
        sockets=[bound],
        threads=THREADS,
        ident="",
        url_scheme=scheme,
        max_request_body_size=2 * MAX_FORM_BYTES,
        connection_limit=MAX_CONNECTIONS,
        channel_timeout=IDLE_S,
        cleanup_interval=CLEANUP_S,
        backlog=BACKLOG,
        recv_bytes=RECEIVE_BYTES,
        asyncore_use_poll=True,
    )
    if scheme == "https":
        server.channel_class = TlsChannel
    return server


def page_addresses(
    port: int, *, network: bool, names: Iterable[str] = (), scheme: str = "http"
) -> list[str]:
    """Addresses under which the page answers, this machine's own first."""
    hosts = ["127.0.0.1", *((*own_addresses(), *sorted(names)) if network else ())]
    return [f"{scheme}://{host}:{port}" for host in hosts]


def serve(
    folder: Path,
    *,
    port: int,
    network: bool,
    passphrase: str = "",
    names: frozenset[str] = frozenset(),
    start: datetime | None = None,
    certificate: Certificate | None = None,
) -> None:
    """Serve a farm folder until interrupted.

    Parameters
    ----------
    network : whether the farm network is served too, not only this machine.
    passphrase : new passphrase; empty keeps the old one.
    names : further names this machine is reached by.
    start : time that the page's clock shows at first; the machine's time by default.
    certificate : serves https with it; http by default.

    Raises
    ------
    AfterrainError
        Where the network is asked for without a passphrase, the port is taken, or the certificate
        cannot be read. The passphrase stays as it was then.
    """
    if network and not (passphrase or read_access(folder).passphrase):
        raise AfterrainError(
            "the farm network is served only with a passphrase: add --set-passphrase once"
        )
    bound = _bound_socket("0.0.0.0" if network else "127.0.0.1", port)
    try:
        if certificate is not None:
            bound = tls_socket(bound, certificate)
        access = set_passphrase(folder, passphrase) if passphrase else read_access(folder)
    except BaseException:
        bound.close()
        raise
    scheme = "http" if certificate is None else "https"
    addresses = page_addresses(port, network=network, names=names, scheme=scheme)
    planner = Planner(folder)
    app = create_app(
        folder,
        planner=planner,
        locked=network,
        access=access,
        now=shifted_clock(start) if start else None,
        names=names,
        addresses=addresses[1:],
    )
    if certificate is not None:
        app.config["SESSION_COOKIE_SECURE"] = True
    server = page_server(app, bound, scheme=scheme)
    for address in addresses:
        print(f"{address}/", flush=True)
    print("Stop with Ctrl+C.", flush=True)
    planner.warm()
    try:
        server.run()
    finally:
        planner.close()
        server.close()
