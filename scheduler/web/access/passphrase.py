"""The key and the passphrase of a farm folder, and attempts to give the passphrase."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

from scheduler.atomic import write_file
from scheduler.errors import AfterrainError

ACCESS_FILE = "access.json"
#: scrypt cost for interactive logins, 32 MB (RFC 7914 names r = 8, p = 1; N is assumed).
SCRYPT_COST = {"n": 2**15, "r": 8, "p": 1}
#: Shortest passphrase; assumed, because neighbours share the farm network.
MIN_PASSPHRASE_CHARS = 10
#: Wrong passphrases without a wait; then the first wait, which doubles up to the longest.
FREE_ATTEMPTS, FIRST_WAIT_S, MAX_WAIT_S = 5, 30.0, 900.0
MAX_ADDRESSES = 1000  # whose attempts are kept


@dataclass(frozen=True, kw_only=True)
class Access:
    """The secrets of a farm folder.

    Attributes
    ----------
    key : signs cookies; links and sessions are made with it.
    passphrase : salt and hash of the passphrase; empty where none is set.
    """

    key: str
    passphrase: str = ""

    def accepts(self, text: str) -> bool:
        """Whether the text is the passphrase."""
        salt, _, digest = self.passphrase.partition("$")
        return bool(digest) and hmac.compare_digest(_hash(text, bytes.fromhex(salt)), digest)


def read_access(folder: Path) -> Access:
    """Read the access file; write one without a passphrase where there is none."""
    try:
        stored = json.loads((folder / ACCESS_FILE).read_text())
        return Access(key=str(stored["key"]), passphrase=str(stored["passphrase"]))
    except FileNotFoundError:
        return _write(folder, Access(key=secrets.token_hex(32)))
    except (OSError, ValueError, KeyError, TypeError):
        raise AfterrainError(
            f"{folder / ACCESS_FILE} cannot be read: remove it, and set the passphrase again"
        ) from None


def set_passphrase(folder: Path, text: str) -> Access:
    """Set the passphrase and a new key, which ends all sessions and drivers' links."""
    if len(text) < MIN_PASSPHRASE_CHARS:
        raise AfterrainError(
            f"a passphrase needs at least {MIN_PASSPHRASE_CHARS} characters: use words"
        )
    salt = secrets.token_bytes(16)
    hashed = f"{salt.hex()}${_hash(text, salt)}"
    return _write(folder, Access(key=secrets.token_hex(32), passphrase=hashed))


class LoginAttempts:
    """Wrong passphrases by address; after `FREE_ATTEMPTS` each costs a wait that doubles."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()

    def wait(self, address: str, now: float) -> float:
        """Seconds until the address may try again."""
        with self._lock:
            wrong, last = self._wrong.get(address, (0, 0.0))
        if wrong < FREE_ATTEMPTS:
            return 0.0
        pause = min(MAX_WAIT_S, FIRST_WAIT_S * 2.0 ** min(wrong - FREE_ATTEMPTS, 10))
        return max(0.0, last + pause - now)

    def failed(self, address: str, now: float) -> None:
        """Count a wrong passphrase."""
        with self._lock:
            wrong, _ = self._wrong.pop(address, (0, 0.0))
            self._wrong[address] = wrong + 1, now
            while len(self._wrong) > MAX_ADDRESSES:
                self._wrong.popitem(last=False)

    def passed(self, address: str) -> None:
        """Forget the wrong passphrases of an address."""
        with self._lock:
            self._wrong.pop(address, None)


def _hash(text: str, salt: bytes) -> str:
    digest = hashlib.scrypt(text.encode(), salt=salt, maxmem=2**26, dklen=32, **SCRYPT_COST)
    return digest.hex()


def _write(folder: Path, access: Access) -> Access:
    content = json.dumps({"key": access.key, "passphrase": access.passphrase})
    write_file(folder / ACCESS_FILE, content, private=True)
    return access
