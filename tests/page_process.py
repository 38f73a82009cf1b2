"""The page of a farm folder in a process of its own, which a test can kill and start again."""

import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from datetime import datetime
from pathlib import Path

HOST = "127.0.0.1"


def free_port():
    with socket.socket() as free:
        free.bind((HOST, 0))
        return free.getsockname()[1]


class PageProcess:
    """A server that is started, killed without warning, and started again on its port.

    Parameters
    ----------
    now : time that the page's clock always shows.
    names : further names of this machine.
    """

    def __init__(self, folder, *, now, names=(), locked=False):
        self.folder, self.now, self.names, self.locked = folder, now, names, locked
        self.port, self.process = free_port(), None
        self.address = f"http://{HOST}:{self.port}"

    def start(self):
        words = [self.folder, self.port, self.now.isoformat(), int(self.locked), *self.names]
        self.process = subprocess.Popen([sys.executable, __file__, *map(str, words)])
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"{self.address}/alive", timeout=5):
                    return self
            except (OSError, urllib.error.URLError):
                time.sleep(0.05)
        raise TimeoutError("the page did not start")

    def kill(self):
        self.process.kill()
        self.process.wait(10)


def run(folder, port, now, locked, *names):
    from scheduler.web.access.passphrase import read_access
    from scheduler.web.app import create_app
    from scheduler.web.planner import Planner
    from scheduler.web.server import _bound_socket, page_server

    clock = datetime.fromisoformat(now)
    app = create_app(
        Path(folder),
        planner=Planner(Path(folder), module="fake_planner"),
        now=lambda: clock,
        locked=bool(int(locked)),
        access=read_access(Path(folder)),
        names=frozenset(names),
    )
    page_server(app, _bound_socket(HOST, int(port))).run()


if __name__ == "__main__":
    run(*sys.argv[1:])
