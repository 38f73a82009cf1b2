"""The server under connections that send nothing, or little by little; https; kills."""

import http.client
import random
import shutil
import socket
import ssl
import subprocess
import threading
import time
import urllib.parse
import urllib.request
import uuid

import pytest
from page_process import HOST, PageProcess
from page_requests import NOW

from scheduler.errors import AfterrainError
from scheduler.season_book.book import Book
from scheduler.web.access.passphrase import read_access, set_passphrase
from scheduler.web.access.private_state import PrivateState
from scheduler.web.app import create_app
from scheduler.web.planner import Planner
from scheduler.web.server import _bound_socket, own_addresses, page_addresses, page_server, serve
from scheduler.web.tls import Certificate, tls_socket

HALF_OPEN, SLOW_UPLOADS = 200, 40
ANSWER_S = 1.0


@pytest.fixture
def site(folder):
    server = PageProcess(folder, now=NOW).start()
    yield server
    server.kill()


def seconds_to_answer(address, path="/"):
    began = time.monotonic()
    with urllib.request.urlopen(address + path, timeout=30) as answer:
        assert answer.status == 200
        assert b"</html>" in answer.read()
    return time.monotonic() - began


@pytest.mark.slow
def test_the_page_answers_beside_half_open_connections_and_slow_uploads(site):
    seconds_to_answer(site.address)  # the first answer reads farm and templates
    held = []
    try:
        for n in range(HALF_OPEN):
            one = socket.create_connection((HOST, site.port), timeout=10)
            held.append(one)
            if n % 2:  # half of them begin a request
                one.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
        for _ in range(SLOW_UPLOADS):
            one = socket.create_connection((HOST, site.port), timeout=10)
            held.append(one)
            one.sendall(
                b"POST /enter/sample HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 60000\r\n"
                b"Content-Type: application/x-www-form-urlencoded\r\n\r\nrain="
            )
        waits = []
        for _ in range(5):
            for one in held[HALF_OPEN:]:
                one.sendall(b"1")
            waits.append(seconds_to_answer(site.address))
        print(f"slowest of {len(waits)} answers: {max(waits):.2f} s")
        assert sorted(waits)[len(waits) // 2] < ANSWER_S
    finally:
        for one in held:
            one.close()


# Phones that keep entries, and a server that is killed

KILLS, PHONES = 20, 8
MOST_WAITING = 5  # on one phone, before it types no more


class KeptEntries:
    """A phone's entries: each is sent again with its token until the server has answered."""

    def __init__(self, port, link, seed):
        self.path, self.port = f"/driver/{link}/enter/sample", port
        self.made, self.waiting = {}, {}
        self.chance, self.answers = random.Random(seed), 0
        self.typing = True

    def send(self, token, moisture):
        """Send one entry; whether the server has answered that it is written."""
        body = urllib.parse.urlencode({"subject": "F07", "moisture": moisture, "token": token})
        origin = f"http://{HOST}:{self.port}"
        headers = {
            "X-Kept-Entry": "later",
            "Origin": origin,
            "Content-Type": "application/x-www-form-urlencoded",
        }
        ask = http.client.HTTPConnection(HOST, self.port, timeout=10)
        try:
            ask.request("POST", self.path, body, headers)
            answer = ask.getresponse()
            answer.read()
            return answer.status == 200
        finally:
            ask.close()

    def run(self):
        while self.typing or self.waiting:
            if self.typing and len(self.waiting) < MOST_WAITING:
                token = uuid.uuid4().hex
                self.made[token] = self.waiting[token] = round(10.0 + len(self.made) % 900 / 100, 2)
            token = self.chance.choice(list(self.waiting))
            try:
                if self.send(token, self.waiting[token]):
                    self.answers += 1
                    if self.chance.random() > 0.2:  # else it was reloaded before it took note
                        del self.waiting[token]
            except (OSError, http.client.HTTPException):
                time.sleep(0.05)


@pytest.mark.slow
def test_twenty_kills_and_eight_phones_lose_and_double_nothing(site, folder):
    state = PrivateState(folder, read_access(folder))
    phones = [
        KeptEntries(site.port, state.add_person(f"Bo {n}", "north crew").token, n)
        for n in range(PHONES)
    ]
    threads = [threading.Thread(target=p.run) for p in phones]
    for thread in threads:
        thread.start()
    chance, kills = random.Random(1), 0
    while kills < KILLS:
        time.sleep(0.1 + 0.5 * chance.random())
        site.kill()
        site.start()
        kills += 1
    for phone in phones:
        phone.typing = False
    for thread in threads:
        thread.join(120)
    with Book(folder) as book:
        assert book.integrity() == "ok"
        kept = [e.token for e in book.entries("sample", superseded=True)]
        read = {e.token: (e.by, e.number("moisture")) for e in book.entries("sample")}
    made = {t: (f"Bo {n}", m) for n, phone in enumerate(phones) for t, m in phone.made.items()}
    lost, doubled = len(made.keys() - set(kept)), len(kept) - len(set(kept))
    answers = sum(p.answers for p in phones)
    print(f"{kills} kills, {PHONES} phones, {len(made)} entries, {answers} answers: ", end="")
    print(f"{lost} lost, {doubled} doubled")
    assert (lost, doubled) == (0, 0)
    assert read == made
    assert answers > len(made)  # some were sent again after they were written


# Addresses, a start that fails, https


def test_every_address_for_phones_is_printed():
    own = own_addresses()
    assert all(not a.startswith("127.") for a in own)
    shown = page_addresses(8377, network=True, names=["barn.local"])
    assert shown == [f"http://{h}:8377" for h in ("127.0.0.1", *own, "barn.local")]
    assert page_addresses(8377, network=False) == ["http://127.0.0.1:8377"]


def test_a_start_that_fails_leaves_the_passphrase(folder):
    before = set_passphrase(folder, "dry straw in august")
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        taken.listen()
        with pytest.raises(AfterrainError, match="cannot be had"):
            serve(
                folder,
                port=taken.getsockname()[1],
                network=False,
                passphrase="wet straw in august",
            )
    assert read_access(folder) == before
    missing = Certificate(chain=folder / "none.pem", key=folder / "none.key")
    with pytest.raises(AfterrainError, match="cannot be used"):
        serve(folder, port=0, network=False, passphrase="wet straw", certificate=missing)
    assert read_access(folder) == before


@pytest.fixture
def certificate(tmp_path):
    if shutil.which("openssl") is None:
        pytest.skip("openssl makes the certificate of this test")
    chain, key = tmp_path / "farm.pem", tmp_path / "farm.key"
    words = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1"]
    words += ["-subj", "/CN=barn.local", "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run([*words, "-out", chain, "-keyout", key], check=True, capture_output=True)
    return Certificate(chain=chain, key=key)


@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_https_serves_pages_and_long_forms_beside_broken_handshakes(folder, certificate):
    bound = tls_socket(_bound_socket(HOST, 0), certificate)
    app = create_app(folder, planner=Planner(folder, module="fake_planner"), now=lambda: NOW)
    server = page_server(app, bound, scheme="https")
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    port = bound.getsockname()[1]
    trust = ssl.create_default_context(cafile=str(certificate.chain))
    held = []
    try:
        for _ in range(3):  # no handshake, and no TLS at all
            held.append(socket.create_connection((HOST, port)))
            held[-1].sendall(b"GET / HTTP/1.1\r\n\r\n")
            held.append(socket.create_connection((HOST, port)))
        ask = http.client.HTTPSConnection(HOST, port, context=trust, timeout=20)
        for path in ("/", "/enter/sample", "/"):  # one connection, kept open
            ask.request("GET", path)
            answer = ask.getresponse()
            assert answer.status == 200
            assert b"</html>" in answer.read()
        headers = {"X-Kept-Entry": "now", "Origin": f"https://{HOST}:{port}"}
        form = {"subject": "F07", "moisture": "16.8", "by": "x" * 20, "padding": "y" * 50_000}
        body = urllib.parse.urlencode(form)  # longer than three TLS records
        headers["Content-Type"] = "application/x-www-form-urlencoded"
        ask.request("POST", "/enter/sample", body, headers)
        assert ask.getresponse().status == 200
        ask.close()
        with pytest.raises(ssl.SSLCertVerificationError):  # a phone that does not trust it
            http.client.HTTPSConnection(HOST, port, timeout=20).request("GET", "/")
    finally:
        for one in held:
            one.close()
        server.close()
        thread.join(5)
    with Book(folder) as book:
        assert len(book.entries("sample")) == 1
