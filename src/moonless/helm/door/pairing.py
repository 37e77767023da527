"""The screens that may talk to this helm from other machines: kept over a restart, listed, let go.

    invite ─► a code to type and a secret for a QR code, for one screen, ten minutes
    accept ─► the screen has a key of its own from now on; the file keeps only its hash

Rules of this file:
- One file (`moonless.folders.screens_file`), for its owner alone, read anew whenever it has changed: what a command
  lets go of is refused within a second.
- A key is 256 bits by chance: SHA-256 of it is enough.  A code of eight digits is not: it is kept by scrypt, and how
  often one may be tried is bounded (`Tries`).
- A file that cannot be read lets nobody in.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import secrets
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal, get_args

from moonless.clock import Clock, SystemClock, steady_s
from moonless.errors import InputError
from moonless.files import write_whole
from moonless.units import NS_PER_S, iso_utc

Role = Literal["look", "act"]
ROLES: tuple[Role, ...] = get_args(Role)
INVITED_S = 600  # ten minutes: to walk to a tablet and type
MOST_SCREENS = 50  # more than any boat has; own choice
_MOST_NAME = 40  # letters; own choice
# RFC 7914's cost for what is done while somebody waits: some 16 MB and a twentieth of a second.
_SCRYPT = {"n": 2**14, "r": 8, "p": 1}
FORMAT = 1


@dataclass(frozen=True, slots=True)
class Screen:
    """One that is paired."""

    id: str
    name: str
    role: Role
    key_hash: str  # SHA-256 of its key, hex
    paired: str  # UTC


@dataclass(frozen=True, slots=True)
class Invitation:
    """What a new screen brings: either of the two, once, while it holds."""

    role: Role
    code: str  # eight digits
    secret: str
    until_ns: int


@dataclass(frozen=True, slots=True)
class _Open:
    """An invitation as it is kept."""

    role: Role
    salt: str
    code_hash: str
    secret_hash: str
    made_ns: int
    until_ns: int


@dataclass(frozen=True, slots=True)
class _Kept:
    screens: tuple[Screen, ...] = ()
    invitation: _Open | None = None
    address: str = ""


class Pairings:
    """The file of paired screens; see the rules of this file."""

    def __init__(self, path: Path, clock: Clock | None = None) -> None:
        self.path = path
        self._clock = clock or SystemClock()
        self._seen: tuple[int, int, int] | None = None
        self._kept = _Kept()
        self.problem: str | None = None  # why the file cannot be used

    # ---- who may

    def screen_of(self, cookie: str) -> Screen | None:
        """Return the screen that a cookie is the key of; None for any other."""
        name, _, key = cookie.partition(".")
        given = _sha256(key)
        for screen in self._read().screens:
            if screen.id == name:
                return screen if hmac.compare_digest(screen.key_hash, given) else None
        return None

    def is_paired(self, screen: Screen) -> bool:
        """Return whether a screen is paired still."""
        return screen in self._read().screens

    @property
    def screens(self) -> tuple[Screen, ...]:
        """The paired, oldest first."""
        return self._read().screens

    @property
    def address(self) -> str:
        """Where the helm said it is reached when it last started; "" if it never did."""
        return self._read().address

    # ---- changes

    def invite(self, role: Role) -> Invitation:
        """Return a new invitation; the one before ends.  Raises InputError if it cannot be kept."""
        code, secret, salt = f"{secrets.randbelow(10**8):08d}", secrets.token_urlsafe(24), secrets.token_hex(16)
        now = self._clock.now_ns()
        until = now + INVITED_S * NS_PER_S
        kept = self._usable()
        self._write(replace(kept, invitation=_Open(role, salt, _scrypt(code, salt), _sha256(secret), now, until)))
        return Invitation(role, code, secret, until)

    def accept(self, given: str, name: str) -> tuple[Screen, str] | None:
        """Return (screen, its cookie) for the code or the secret of the open invitation; None for anything else.

        Takes a twentieth of a second for a code.  Raises InputError if it cannot be kept, or there are too many.
        """
        kept = self._read()
        invitation, now = kept.invitation, self._clock.now_ns()
        # A clock that was set back would make an old invitation hold for ever.
        if invitation is None or not invitation.made_ns <= now < invitation.until_ns:
            return None
        digits = "".join(given.split()).replace("-", "")
        if len(digits) == 8 and digits.isascii() and digits.isdigit():
            is_right = hmac.compare_digest(invitation.code_hash, _scrypt(digits, invitation.salt))
        else:
            is_right = hmac.compare_digest(invitation.secret_hash, _sha256(given))
        if not is_right:
            return None
        kept = self._usable()
        if kept.invitation != invitation:
            return None  # another screen was quicker
        if len(kept.screens) >= MOST_SCREENS:
            raise InputError(f"{MOST_SCREENS} screens are paired already; let one go first: moonless screens")
        key = secrets.token_urlsafe(32)
        taken = {screen.id for screen in kept.screens}
        number = next(one for one in (secrets.token_hex(2) for _ in range(10_000)) if one not in taken)
        screen = Screen(number, clean_name(name), invitation.role, _sha256(key), iso_utc(now))
        self._write(replace(kept, screens=(*kept.screens, screen), invitation=None))
        return screen, f"{screen.id}.{key}"

    def let_go(self, number: str) -> Screen:
        """Refuse a screen from now on.  Raises InputError if there is none of this number."""
        kept = self._usable()
        found = next((screen for screen in kept.screens if screen.id == number), None)
        if found is None:
            raise InputError(f"no screen {number!r} is paired; `moonless screens` lists them")
        self._write(replace(kept, screens=tuple(one for one in kept.screens if one is not found)))
        return found

    def keep_address(self, address: str) -> None:
        """Keep where the helm is reached, for who invites from another program.  Raises InputError."""
        kept = self._usable()
        if kept.address != address:
            self._write(replace(kept, address=address))

    # ---- the file

    def _read(self) -> _Kept:
        try:
            stat = self.path.stat()
            seen = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
            if seen == self._seen:
                return self._kept
            self._kept, self.problem = _from_json(json.loads(self.path.read_bytes())), None
            self._seen = seen
        except FileNotFoundError:
            self._kept, self._seen, self.problem = _Kept(), None, None
        except (OSError, ValueError, TypeError, KeyError, RecursionError) as problem:
            # Whoever was let in by it is not any more: who that was cannot be known.
            self._kept, self._seen = _Kept(), None
            self.problem = f"{self.path}: cannot be used: {problem!r}; remove it and pair the screens again"
        return self._kept

    def _usable(self) -> _Kept:
        kept = self._read()
        if self.problem is not None:
            raise InputError(self.problem)
        return kept

    def _write(self, kept: _Kept) -> None:
        body = {"format": FORMAT, **asdict(kept)}
        write_whole(self.path, json.dumps(body, indent=1) + "\n", make_folders=True, private=True)
        self._seen = None


class Tries:
    """How often a code may be tried: an address five times a minute, all together sixty.

    At that rate somebody who tries for a whole night of twelve hours hits one of eight digits with four in ten
    thousand, and only while an invitation is open.
    """

    OF_ADDRESS, OF_ALL, WINDOW_S = 5, 60, 60.0

    def __init__(self, now_s: Callable[[], float] = steady_s) -> None:
        self._now_s = now_s
        self._tries: list[tuple[float, str]] = []

    def may(self, address: str) -> bool:
        """Return whether this address may try now; it has, then."""
        now = self._now_s()
        self._tries = [one for one in self._tries if now - one[0] < self.WINDOW_S]
        if len(self._tries) >= self.OF_ALL or sum(who == address for _, who in self._tries) >= self.OF_ADDRESS:
            return False
        self._tries.append((now, address))
        return True


def clean_name(name: str) -> str:
    """Return a name that can be printed in one line; what has none is called a screen."""
    plain = "".join(letter if letter.isprintable() else " " for letter in name)
    with contextlib.suppress(UnicodeError):
        plain = plain.encode("utf-8", "replace").decode()
    return " ".join(plain.split())[:_MOST_NAME] or "a screen"


def _from_json(body: Mapping[str, Any]) -> _Kept:
    if body["format"] != FORMAT:
        raise ValueError(f"its format is {body['format']!r}, not {FORMAT}")
    screens = tuple(Screen(**one) for one in body["screens"])
    for screen in screens:
        if screen.role not in ROLES or not all(isinstance(text, str) for text in asdict(screen).values()):
            raise ValueError(f"a screen says {screen.role!r}")
    given = body["invitation"]
    invitation = None if given is None else _Open(**given)
    if invitation is not None and invitation.role not in ROLES:
        raise ValueError(f"an invitation says {invitation.role!r}")
    return _Kept(screens, invitation, str(body["address"]))


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _scrypt(code: str, salt: str) -> str:
    return hashlib.scrypt(code.encode(), salt=bytes.fromhex(salt), dklen=32, **_SCRYPT).hex()
