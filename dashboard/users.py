"""Who may look and who may operate: a small file of names, roles and scrypt hashes, for its owner alone.

It lies beside the store (`STORE.users`) or where `--users` says. The running server reads it again whenever
it changes, so that a removal, a new passphrase or an unlocking counts at once.
"""

import fcntl
import hashlib
import hmac
import json
import os
import re
import secrets
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ingest.errors import UserError

ROLES = ("view", "operate")
NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,31}")
# NIST SP 800-63B-4, on the length of passwords: 15 at least where nothing else is asked for (from memory).
PASSPHRASE_MIN, PASSPHRASE_MAX = 15, 256
# Cost of one try: 128 MiB and about half a second. OWASP Password Storage Cheat Sheet (published).
COST_N, COST_R, COST_P = 2**17, 8, 1
VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """Hold one person's role, scrypt salt, hash and cost; `unlocked` counts unlockings at the console."""

    role: str
    salt: str
    hash: str
    n: int
    r: int
    p: int
    unlocked: int = 0


def default_path(store: Path) -> Path:
    """Return where the users of a store are kept."""
    return store.with_name(store.name + ".users")


def derive(passphrase: str, account: Account) -> str:
    """Return the hash of a passphrase with the salt and cost of an account, as hex."""
    known = unicodedata.normalize("NFKC", passphrase).encode("utf-8", "surrogatepass")
    return hashlib.scrypt(
        known,
        salt=bytes.fromhex(account.salt),
        n=account.n,
        r=account.r,
        p=account.p,
        maxmem=256 * account.n * account.r * account.p,
        dklen=32,
    ).hex()


def make_account(role: str, passphrase: str, n: int = COST_N) -> Account:
    """Return an account with a new salt; `n` is the scrypt cost. Raise UserError for a short passphrase."""
    if role not in ROLES:
        raise UserError(f"There is no role {role!r}; name view or operate.")
    if not PASSPHRASE_MIN <= len(passphrase) <= PASSPHRASE_MAX:
        raise UserError(
            f"The passphrase has {len(passphrase)} characters; "
            f"choose {PASSPHRASE_MIN} to {PASSPHRASE_MAX}, several words do well."
        )
    empty = Account(role=role, salt=secrets.token_hex(16), hash="", n=n, r=COST_R, p=COST_P)
    return replace(empty, hash=derive(passphrase, empty))


class Users:
    """Read and change one file of accounts. A file that others may read is refused."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._seen: tuple[int, int, int] | None = None
        self._known: Mapping[str, Account] = {}

    def accounts(self) -> Mapping[str, Account]:
        """Return the accounts by name; none without a file. Raise UserError when it can't be trusted."""
        try:
            found = self.path.stat()
        except FileNotFoundError:
            return {}
        if found.st_mode & 0o077:
            raise UserError(f"{self.path} may be read by others; mend it with chmod 600.")
        mark = (found.st_ino, found.st_mtime_ns, found.st_size)
        if mark != self._seen:
            self._known = _parse(self.path)
            self._seen = mark
        return self._known

    def check_new(self, name: str) -> None:
        """Raise UserError when a name is odd or taken."""
        _check_name(name)
        if name in self.accounts():
            raise UserError(f"{name} is in {self.path} already; change the passphrase or remove it first.")

    def put(self, name: str, account: Account, *, new: bool) -> None:
        """Write one account. Raise UserError when a new name is taken or odd, or an old one unknown."""
        with self._changing() as accounts:
            if new:
                self.check_new(name)
            else:
                self._of(name, accounts)
            accounts[name] = account

    def remove(self, name: str) -> None:
        """Take an account out of the file. Raise UserError when there is none of that name."""
        with self._changing() as accounts:
            self._of(name, accounts)
            del accounts[name]

    def unlock(self, name: str) -> None:
        """End every lock-out of a name. Raise UserError when there is none of that name."""
        with self._changing() as accounts:
            account = self._of(name, accounts)
            accounts[name] = replace(account, unlocked=account.unlocked + 1)

    def role_of(self, name: str) -> str:
        """Return a person's role. Raise UserError when there is none of that name."""
        return self._of(name, self.accounts()).role

    def check(self, name: str, passphrase: str) -> Account | None:
        """Return the account when name and passphrase belong together. An unknown name takes as long."""
        accounts = self.accounts()
        account = accounts.get(name)
        salt = secrets.token_hex(16)
        cost = account or next(
            iter(accounts.values()),
            Account(role="view", salt=salt, hash="", n=COST_N, r=COST_R, p=COST_P),
        )
        right = hmac.compare_digest(derive(passphrase[:PASSPHRASE_MAX], cost), cost.hash)
        return account if right else None

    def _of(self, name: str, accounts: Mapping[str, Account]) -> Account:
        if name not in accounts:
            raise UserError(f"There is no user {name} in {self.path}; `nightkeel user list` names them.")
        return accounts[name]

    @contextmanager
    def _changing(self) -> Iterator[dict[str, Account]]:
        folder = os.open(self.path.absolute().parent, os.O_RDONLY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX)
            accounts = dict(self.accounts())
            yield accounts
            _write(self.path, accounts)
        finally:
            os.close(folder)


def _check_name(name: str) -> None:
    if NAME.fullmatch(name) is None:
        raise UserError(
            f"{name!r} can't be a name; use up to 32 small letters, digits, dots, hyphens, underscores."
        )


def _parse(path: Path) -> dict[str, Account]:
    try:
        held = json.loads(path.read_text("utf-8"))
        if held["version"] != VERSION:
            raise ValueError
        return {name: Account(**fields) for name, fields in held["users"].items()}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise UserError(f"{path} is no file of users; restore it or make a new one.") from error


def _write(path: Path, accounts: Mapping[str, Account]) -> None:
    """Replace the file in one step, so that a power cut leaves the old or the new one."""
    held = {"version": VERSION, "users": {name: asdict(one) for name, one in sorted(accounts.items())}}
    fresh = path.with_name(path.name + ".new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(held, file, indent=1)
        file.flush()
        os.fsync(file.fileno())
    os.replace(fresh, path)
