"""How often one key may ask, and how much anybody may send: a broken script must not keep a household from its plan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import Message, Receive

from fruitwall.speech import say

AT_ONCE = 120
"""Requests of one key without any wait: a script that fetches every tree of a large yard. Our judgement."""

PER_SECOND = 2.0
"""Requests of one key in the long run; sensors send once a minute or less. Our judgement."""

MOST_KEPT = 10_000
"""Keys and addresses remembered at once; beyond that those that asked longest ago start afresh."""

MOST_BYTES = 32 * 2**20
"""Largest request of all: a photo of 25 MB and what a form adds."""

MOST_BYTES_OF_SENSORS = 2 * 2**20
"""Largest request of a key for readings: 5000 readings are 0.7 MB. What hangs in a garden may get into other hands."""


@dataclass
class _Left:
    requests: float
    at_s: float


class Pace:
    """A bucket of requests for each key, filled at a steady rate.

    Parameters
    ----------
    clock : callable
        Gives seconds that only grow.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self.clock = clock
        self._left: dict[str, _Left] = {}
        self._lock = Lock()

    def wait_s(self, key: str) -> float:
        """Count a request.

        Parameters
        ----------
        key : str
            Whose it is, such as ``key:17``.

        Returns
        -------
        float
            0 where it may go on; else after how long to ask again, and then it was not counted. [s]
        """
        with self._lock:
            now = self.clock()
            left = self._left.pop(key, None) or _Left(AT_ONCE, now)
            left.requests = min(AT_ONCE, left.requests + (now - left.at_s) * PER_SECOND)
            left.at_s = now
            self._left[key] = left  # at the end: the dict is in order of the last request
            if len(self._left) > MOST_KEPT:
                del self._left[next(iter(self._left))]
            if left.requests < 1:
                return (1 - left.requests) / PER_SECOND
            left.requests -= 1
            return 0.0


def address_of(request: Request) -> str:
    """Name where a request comes from; of an IPv6 address only the network, since a device has all of it."""
    from ipaddress import IPv6Address, ip_address

    host = request.client.host if request.client else ""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return host
    if isinstance(address, IPv6Address):
        return address.exploded[:19] if address.ipv4_mapped is None else str(address.ipv4_mapped)
    return str(address)


def told_bytes(request: Request) -> int:
    """Give how long a request says that its body is; 0 where it does not say."""
    told = request.headers.get("content-length", "")
    return int(told) if told.isascii() and told.isdigit() and len(told) < 20 else 0


def at_most(receive: Receive, most: int) -> Receive:
    """Stop reading a body where it is too long, whatever it said beforehand.

    Parameters
    ----------
    receive : callable
    most : int
        Bytes.

    Returns
    -------
    callable
        Raises `HTTPException` 413 once more has come.
    """
    count = 0

    async def counting() -> Message:
        nonlocal count
        message = await receive()
        count += len(message.get("body", b""))
        if count > most:
            raise HTTPException(413, too_much(most))
        return message

    return counting


def too_much(most: int) -> str:
    """Say that a request is too long."""
    return say("At most {most} MB are taken at once.", most=most // 2**20)
