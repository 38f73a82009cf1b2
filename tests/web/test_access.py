"""Secrets of a farm folder, and waits after wrong passphrases."""

import hashlib

import pytest

from scheduler.errors import AfterrainError
from scheduler.web.access.passphrase import (
    FREE_ATTEMPTS,
    Access,
    LoginAttempts,
    read_access,
    set_passphrase,
)


def test_wrong_passphrases_cost_waits_that_double():
    attempts, now = LoginAttempts(), 1000.0
    for _ in range(FREE_ATTEMPTS):
        assert attempts.wait("a", now) == 0.0
        attempts.failed("a", now)
    assert attempts.wait("a", now) == 30.0
    assert attempts.wait("b", now) == 0.0
    attempts.failed("a", now + 30)
    assert attempts.wait("a", now + 30) == 60.0
    for _ in range(30):
        attempts.failed("a", now)
    assert attempts.wait("a", now) == 900.0
    attempts.passed("a")
    assert attempts.wait("a", now) == 0.0
    for n in range(5000):
        attempts.failed(str(n), now)
    assert len(attempts._wrong) <= 1000


def test_secrets_are_kept_from_others(tmp_path):
    access = set_passphrase(tmp_path, "dry straw in august")
    assert (tmp_path / "access.json").stat().st_mode & 0o077 == 0
    assert "straw" not in (tmp_path / "access.json").read_text()
    assert read_access(tmp_path) == access
    assert access.accepts("dry straw in august")
    assert not access.accepts("dry straw in August")
    assert not Access(key="k").accepts("")
    with pytest.raises(AfterrainError, match="at least 10 characters"):
        set_passphrase(tmp_path, "short")
    (tmp_path / "access.json").write_text("{")
    with pytest.raises(AfterrainError, match="remove it, and set the passphrase again"):
        read_access(tmp_path)


def test_published_scrypt_vector():
    # published: RFC 7914, section 12, second vector; the function behind our hash
    key = hashlib.scrypt(b"password", salt=b"NaCl", n=1024, r=8, p=16, maxmem=2**26, dklen=64)
    assert key.hex().startswith("fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162")
