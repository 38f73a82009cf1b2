"""A local server that stands for every service, replays payloads and makes faults on demand."""

from __future__ import annotations

import json
import threading
import time
from collections import Counter
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit


class Replay:
    """What the server answers.

    `answers` maps a part of the path to a payload, or to a function of (path, query) giving one;
    `faults` maps a part of the path to the name of a fault (see `FAULTS`). `asked` counts calls
    by the first part that matched.
    """

    def __init__(self):
        self.answers, self.faults = {}, {}
        self.asked, self.paths, self.agents = Counter(), [], set()
        self.date = None
        self.wait = "1"
        self.hang = threading.Event()


FAULTS = (
    *("refused", "timeout", "403", "404", "429", "500"),
    *("truncated", "html", "short", "missing", "unit", "nulls", "empty", "list"),
)


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    wbufsize = 1 << 16  # head and body in one packet
    disable_nagle_algorithm = True

    def log_message(self, *_):
        pass

    def date_time_string(self, timestamp=None):
        return self.server.replay.date or super().date_time_string(timestamp)

    def do_POST(self):
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.do_GET()

    def do_GET(self):
        replay, parts = self.server.replay, urlsplit(self.path)
        key = next((k for k in replay.answers if k in parts.path), None)
        replay.asked[key] += 1
        replay.paths.append(self.path)
        replay.agents.add(self.headers["User-Agent"])
        fault = next((f for k, f in replay.faults.items() if k in parts.path), None)
        if key is None:
            return self._say(404, b'{"title": "Not Found"}')
        answer = replay.answers[key]
        payload = answer(parts.path, parse_qs(parts.query)) if callable(answer) else answer
        return self._fault(fault, payload)

    def _fault(self, fault, payload):
        body = json.dumps(broken(payload, fault)).encode()
        if fault == "timeout":
            self.server.replay.hang.wait(2.0)
            self.close_connection = True
        elif fault == "refused":
            self.close_connection = True
            self.connection.close()
        elif fault in ("403", "404", "500"):
            self._say(int(fault), b'{"title": "no"}')
        elif fault == "429":
            self._say(429, b"slow down", {"Retry-After": self.server.replay.wait})
        elif fault == "truncated":
            self._say(200, body[: len(body) // 2])
        elif fault == "short":  # announces more than it sends
            self._say(200, body[: len(body) // 2], length=len(body))
            self.close_connection = True
        elif fault == "html":
            self._say(200, b"<html><body>Please log in to the guest network</body></html>")
        else:
            self._say(200, body)

    def _say(self, status, body, headers=None, length=None):
        self.send_response(status)
        for name, value in (headers or {}).items():
            self.send_header(name, value)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(length or len(body)))
        self.end_headers()
        self.wfile.write(body)


def broken(payload, fault):
    """A payload with a fault in its content."""
    if fault == "empty":
        return {}
    if fault == "list":
        return [1, 2, 3]
    if fault not in ("missing", "unit", "nulls") or not isinstance(payload, dict):
        return payload
    payload = json.loads(json.dumps(payload))
    if "hourly" in payload:
        names = [n for n in payload["hourly"] if n.startswith("precipitation")]
        for name in names:
            if fault == "missing":
                del payload["hourly"][name]
            elif fault == "unit":
                payload["hourly_units"][name] = "furlong"
            else:
                payload["hourly"][name] = [None] * len(payload["hourly"][name])
    elif "quantitativePrecipitation" in payload.get("properties", {}):
        if fault == "missing":
            del payload["properties"]["quantitativePrecipitation"]
        elif fault == "unit":
            payload["properties"]["quantitativePrecipitation"]["uom"] = "wmoUnit:furlong"
        else:
            for step in payload["properties"]["quantitativePrecipitation"]["values"]:
                step["value"] = None
    return payload


class Quiet(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, *_):
        pass


@contextmanager
def replay_server():
    """The server's address and its `Replay`."""
    server = Quiet(("127.0.0.1", 0), Handler)
    server.replay = Replay()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}", server.replay
    finally:
        server.replay.hang.set()
        time.sleep(0)
        server.shutdown()
        server.server_close()
        thread.join()
