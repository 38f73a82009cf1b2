"""https for the page: a TLS socket for a server that polls its connections."""

from __future__ import annotations

import errno
import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from waitress.channel import HTTPChannel

from scheduler.errors import AfterrainError


@dataclass(frozen=True, kw_only=True)
class Certificate:
    """Files (PEM) of a certificate with its chain, and of its private key."""

    chain: Path
    key: Path


class _NoWholeRecordError(Exception):
    """No TLS record has come whole yet."""


class _PolledSocket(ssl.SSLSocket):
    """A TLS socket for a poll loop that knows plain sockets."""

    def recv(self, buflen: int = 1024, flags: int = 0) -> bytes:
        try:
            return super().recv(buflen, flags)
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
            raise _NoWholeRecordError from None
        except ssl.SSLError:  # not TLS, or a phone that does not trust the certificate
            return b""

    def send(self, data: bytes | memoryview, flags: int = 0) -> int:  # type: ignore[override]
        try:
            return super().send(data, flags)
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
            raise BlockingIOError(errno.EWOULDBLOCK, "the peer takes no more now") from None
        except ssl.SSLError:
            raise ConnectionResetError(errno.ECONNRESET, "the TLS connection broke") from None


class TlsChannel(HTTPChannel):  # type: ignore[misc]
    """A connection over TLS, which stays open while a record or the handshake is not whole."""

    def handle_read(self) -> None:
        """Read what has come."""
        with suppress(_NoWholeRecordError):
            super().handle_read()


def tls_socket(bound: socket.socket, certificate: Certificate) -> ssl.SSLSocket:
    """Turn a bound socket into one that serves TLS; each connection shakes hands as it is polled.

    Raises
    ------
    AfterrainError
        Where certificate and key cannot be read, or do not belong together.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.sslsocket_class = _PolledSocket
    try:
        context.load_cert_chain(certificate.chain, certificate.key)
    except (OSError, ssl.SSLError) as error:
        raise AfterrainError(
            f"the certificate {certificate.chain} and the key {certificate.key} cannot be used "
            f"({error.strerror or error}): give two PEM files that belong together"
        ) from None
    return context.wrap_socket(bound, server_side=True, do_handshake_on_connect=False)
