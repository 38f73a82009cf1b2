"""Serving the page: what is refused, and a run until interrupted."""

import signal
import socket
import subprocess
import sys
import urllib.request

import pytest

from scheduler.command import main


def test_serving_refuses_what_is_not_safe_or_not_there(folder, capsys):
    assert main(["serve", str(folder), "--network"]) == 1
    assert "served only with a passphrase: add --set-passphrase once" in capsys.readouterr().err
    assert main(["serve", str(folder), "--port", "70000"]) == 1
    assert "--port must be 1 to 65535" in capsys.readouterr().err
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        assert main(["serve", str(folder), "--port", port]) == 1
    assert f"port {port} cannot be had" in capsys.readouterr().err


@pytest.mark.parametrize("network", [False, True])
def test_the_page_is_served_until_interrupted(folder, network):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["serve", str(folder), "--port", str(port), "--on", "2026-08-12"]
    words += ["--network", "--set-passphrase"] if network else []
    # a run in the background has SIGINT ignored, and hands that down: take it up again
    command = [
        sys.executable,
        "-c",
        "import signal, sys; from scheduler.command import main; "
        "signal.signal(signal.SIGINT, signal.default_int_handler); "
        "sys.exit(main(sys.argv[1:]))",
        *words,
    ]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as page:
        page.stdin.write("dry straw in august\n")
        page.stdin.close()
        try:
            address = page.stdout.readline().strip()
            assert address == f"http://127.0.0.1:{port}/"
            with urllib.request.urlopen(address, timeout=30) as answer:
                text = answer.read().decode()
            assert ("Log in" if network else "There are no orders yet") in text
            assert "Server" not in answer.headers
        finally:
            page.send_signal(signal.SIGINT)
            page.stdin = None  # it is closed
            try:
                page.communicate(timeout=30)
            finally:
                page.kill()
