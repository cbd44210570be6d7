"""How the server can be reached, and the clocks and keys that log-ins need."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fruitwall.service.accounts_passphrases import Passphrases
    from fruitwall.web.access.authority import Authority


def true_now() -> datetime:
    """Give the present moment; log-ins run by it also where the pages show another evening."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Reach:
    """How the server can be reached.

    Attributes
    ----------
    beyond : bool
        Whether others than this machine can reach it; then nobody is let in without an account.
    addresses : tuple of str
        Where a phone finds it, such as ``https://192.168.1.20:8765``, the best first; none where it listens on this
        machine only.
    authority : Authority or None
        Our own certificate authority, where it vouches for this server.
    cookie_key : bytes
        Signs the cookies of sessions; another key ends them all.
    now : callable
        Gives the true present moment, aware.
    seconds : callable
        Gives seconds that only grow.
    passphrases : Passphrases or None
        How they are hashed; as `service.accounts_passphrases` does by itself if left out.
    """

    beyond: bool = False
    addresses: tuple[str, ...] = ()
    authority: Authority | None = None
    cookie_key: bytes = field(default_factory=lambda: secrets.token_bytes(32), repr=False)
    now: Callable[[], datetime] = true_now
    seconds: Callable[[], float] = time.monotonic
    passphrases: Passphrases | None = None
