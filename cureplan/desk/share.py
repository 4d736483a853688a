"""Who may write in the night's log from a phone: a code for each, then a cookie.

A code lets one phone in and is then replaced. Wrong codes are counted, by address and in
all; whoever guesses is kept waiting, and learns nothing. Only hashes of cookies are kept.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import socket
import struct
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from cureplan.core.errors import CurePlanError
from cureplan.core.writing import write_atomically
from cureplan.desk.hub import clean_name

__all__ = ["LETTERS", "Gate", "TooManyWrongError", "WrongCodeError", "bound", "local_addresses"]

LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""None that is taken for another when it is read aloud or typed."""
CODE_LENGTH = 8
MOST_PHONES = 60
WRONG_PER_ADDRESS = 5
WRONG_IN_ALL = 30
"""So many wrong codes within `WINDOW_S` close the door until some are older."""
WINDOW_S = 300.0
LASTS_S = 36 * 3600.0


class WrongCodeError(CurePlanError):
    """Not the code that is shown now."""


class TooManyWrongError(CurePlanError):
    """So many wrong codes that none is looked at for a while."""


@dataclass(slots=True)
class Gate:
    """The codes and cookies of one night, kept in a file so that a killed desk goes on."""

    path: Path
    clock: Callable[[], float] = time.time
    code: str = ""
    port: int = 0
    """Where phones found the desk, so that they find it there again."""
    address: str = ""
    """On which of this computer's networks; the first where none was chosen."""
    on: bool = False
    phones: dict[str, tuple[str, float]] = field(default_factory=dict)
    """Name and beginning by the hash of a cookie."""
    lock: threading.RLock = field(default_factory=threading.RLock)
    _wrong: deque[tuple[float, str]] = field(default_factory=deque)

    def __post_init__(self) -> None:
        """Take up what a desk before this one left."""
        self.code = self.code or _new_code()
        with suppress(
            OSError,
            ValueError,
            LookupError,
            TypeError,
            AttributeError,
            ArithmeticError,
            RecursionError,
        ):
            kept = json.loads(self.path.read_text(encoding="utf-8"))
            phones = {str(k): (str(n), float(at)) for k, (n, at) in kept["phones"].items()}
            self.phones, self.port, self.on = phones, int(kept["port"]), kept["on"] is True
            self.address = str(kept.get("address", ""))

    def keep(self) -> None:
        """Write down who is in, and where; never a code or a cookie."""
        kept = {
            "on": self.on, "port": self.port, "address": self.address, "phones": self.phones,
        }  # fmt: skip
        write_atomically(self.path, json.dumps(kept))

    def join(self, code: str, *, name: str, address: str) -> tuple[str, str]:
        """A cookie and the name for whoever knows the code; the code is then another."""
        with self.lock:
            self._refuse_guessing(address)
            said = "".join(code.split()).replace("-", "").upper()
            if not hmac.compare_digest(said.encode(), self.code.encode()):
                self._wrong.append((self.clock(), address))
                raise WrongCodeError("this is not the code that the desk shows now")
            if len(self.phones) >= MOST_PHONES:
                raise CurePlanError(f"{MOST_PHONES} phones are in; forget those that left")
            token = secrets.token_urlsafe(32)
            named = self._free_name(clean_name(name, usual="Phone"))
            self.code = _new_code()
            self.phones[_hashed(token)] = (named, self.clock())
            self.keep()
            return token, named

    def _refuse_guessing(self, address: str) -> None:
        while self._wrong and self._wrong[0][0] < self.clock() - WINDOW_S:
            self._wrong.popleft()
        own = sum(1 for _, other in self._wrong if other == address)
        if own >= WRONG_PER_ADDRESS or len(self._wrong) >= WRONG_IN_ALL:
            raise TooManyWrongError("too many wrong codes; wait five minutes")

    def _free_name(self, name: str) -> str:
        taken = {known for known, _ in self.phones.values()}
        tries = (name if n == 1 else f"{name} {n}" for n in range(1, MOST_PHONES + 2))
        return next(each for each in tries if each not in taken)

    def name_of(self, token: str) -> str | None:
        """Whose cookie this is; None for nobody's, or one of another night."""
        found = self.phones.get(_hashed(token)) if token else None
        return None if found is None or found[1] < self.clock() - LASTS_S else found[0]

    def forget(self) -> None:
        """Let nobody in with an old cookie, or with a code that somebody saw."""
        with self.lock:
            self.phones.clear()
            self.code = _new_code()
            self.keep()

    @property
    def guessed_at(self) -> int:
        """Wrong codes of the last minutes, for the foreman to see."""
        return len(self._wrong)

    def names(self) -> list[str]:
        """Everybody who is in."""
        return sorted(name for name, _ in self.phones.values())


def _new_code() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def bound(address: str, port: int) -> socket.socket:
    """A socket that listens at an address of this computer, and nobody else with it."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    # Windows would let any other process listen at an address that may be used again.
    alone = getattr(socket, "SO_EXCLUSIVEADDRUSE", socket.SO_REUSEADDR)
    try:
        listener.setsockopt(socket.SOL_SOCKET, alone, 1)
        listener.bind((address, port))
        listener.listen(128)
    except OSError:
        listener.close()
        raise
    return listener


_ASK_ADDRESS = {"linux": 0x8915, "darwin": 0xC0206921}
"""SIOCGIFADDR; that of macOS from memory, and not tried."""


def local_addresses() -> dict[str, str]:
    """This computer's addresses on its networks, each with the network's name where known.

    The one that leads outside comes first. Nothing is sent to find them.
    """
    found: dict[str, str] = {}
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        found[str(probe.getsockname()[0])] = ""
    found |= dict(_by_network())
    with suppress(OSError):
        for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET):
            found.setdefault(str(entry[4][0]), "")
    return {at: name for at, name in found.items() if not at.startswith(("127.", "0."))}


def _by_network() -> Iterator[tuple[str, str]]:
    ask = _ASK_ADDRESS.get(sys.platform)
    if ask is None:
        return
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            with suppress(OSError):
                answer = fcntl.ioctl(probe, ask, struct.pack("256s", name.encode()[:15]))
                yield socket.inet_ntoa(answer[20:24]), name
