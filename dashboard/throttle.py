"""Slow down guessing: a growing wait for an address, a lock for a name from one address. Times in s.

A lock holds for the pair only: whoever guesses at a name elsewhere can't lock its owner out here. Each try
is counted as failed before its passphrase is looked at, so that tries side by side gain nothing.
"""

import ipaddress
import math
import threading
from dataclasses import dataclass
from typing import TypeVar

Key = TypeVar("Key")

# Common practice, no source: a few slips cost nothing, a guesser gets two tries a minute.
FREE_TRIES, WAIT_S_MAX = 3, 30
LOCK_TRIES, LOCK_S = 5, 900
FORGET_S = 900
KEPT_MAX = 10_000


@dataclass(slots=True)
class Tally:
    """Count failures since when; no try is allowed before `until_s`."""

    failures: int = 0
    last_s: float = 0.0
    until_s: float = 0.0
    unlocked: int = 0


class Throttle:
    """Keep tallies of addresses and of names from addresses; both are bounded in number."""

    def __init__(self) -> None:
        self._addresses: dict[str, Tally] = {}
        self._pairs: dict[tuple[str, str], Tally] = {}
        self._lock = threading.Lock()

    def begin(self, name: str, address: str, unlocked: int, now_s: float) -> int:
        """Count a try and return 0, or return the seconds to wait and count nothing.

        `unlocked` is how often the name was unlocked at the console; a lock from before that is void.
        """
        place = network(address)
        with self._lock:
            whole = _tally(self._addresses, place, now_s)
            pair = _tally(self._pairs, (name, place), now_s)
            if pair.unlocked != unlocked:
                pair.failures, pair.until_s, pair.unlocked = 0, 0.0, unlocked
            until_s = max(whole.until_s, pair.until_s)
            if now_s < until_s:
                return math.ceil(until_s - now_s)
            if pair.failures >= LOCK_TRIES:
                pair.failures = 0
            _count(whole, now_s)
            _count(pair, now_s)
            if whole.failures > FREE_TRIES:
                whole.until_s = now_s + min(WAIT_S_MAX, 2 ** min(whole.failures - FREE_TRIES, 10))
            if pair.failures >= LOCK_TRIES:
                pair.until_s = now_s + LOCK_S
            return 0

    def passed(self, name: str, address: str) -> None:
        """Take back the try that `begin` counted: it was right."""
        place = network(address)
        with self._lock:
            self._pairs.pop((name, place), None)
            whole = self._addresses.get(place)
            if whole is not None:
                whole.failures, whole.until_s = max(whole.failures - 1, 0), 0.0


def network(address: str) -> str:
    """Return what counts as one address: an IPv4 address, or the /64 that one IPv6 site has to itself."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))


def _tally(kept: dict[Key, Tally], key: Key, now_s: float) -> Tally:
    """Return the tally of a key, a fresh one after long quiet; the one touched longest ago makes room."""
    found = kept.pop(key, None)
    if found is None or now_s - found.last_s > FORGET_S + LOCK_S:
        found = Tally(last_s=now_s)
    kept[key] = found
    if len(kept) > KEPT_MAX:
        del kept[next(iter(kept))]
    return found


def _count(tally: Tally, now_s: float) -> None:
    tally.failures += 1
    tally.last_s = now_s
