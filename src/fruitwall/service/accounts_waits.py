"""How long whoever guesses passphrases has to wait: longer with every wrong guess, kept in this process only.

NIST SP 800-63B (rev. 4, 3.2.2) wants no more than 100 wrong guesses in a row for one account and names waiting times
that grow up to an hour as a way. With ours somebody who never stops gets about 100 guesses a day at one name, and as
many from one address.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from threading import Lock

FREE_TRIES = 4
"""Wrong guesses without any wait: whoever has cold fingers mistypes a few times. Our judgement."""

FIRST_WAIT_S = 2.0
"""Wait after the first guess that is no longer free; each further one doubles it. Our judgement. [s]"""

LONGEST_WAIT_S = 900.0
"""Longest wait: guessing is hopeless with it, and whoever forgot gets a new try within a tea. Our judgement. [s]"""

FORGOTTEN_AFTER_S = 24 * 3600.0
"""After so long without a guess a name or address starts afresh. Our judgement. [s]"""

MOST_KEPT = 10_000
"""Names and addresses remembered at once; beyond that the ones that guessed longest ago are forgotten."""


@dataclass
class _Tries:
    wrong: int = 0
    last_s: float = 0.0


class Waits:
    """Wrong guesses by name and by address.

    Parameters
    ----------
    clock : callable
        Gives seconds that only grow, such as `time.monotonic`.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self.clock = clock
        self._tries: dict[str, _Tries] = {}
        self._lock = Lock()

    def try_now(self, keys: Iterable[str]) -> float:
        """Ask to make a guess; it counts as a wrong one until `right` is told.

        So a hundred guesses sent at once do not all pass before the first of them is found wrong.

        Parameters
        ----------
        keys : iterable of str
            What the guess is counted for, such as ``name:ana`` and ``address:192.168.1.7``.

        Returns
        -------
        float
            0 where it may be made now; else for how long to wait, and then nothing was counted. [s]
        """
        keys = list(keys)
        with self._lock:
            now = self.clock()
            wait = max((self._wait_s(key, now) for key in keys), default=0.0)
            if wait > 0:
                return wait
            for key in keys:
                tries = self._tries.pop(key, _Tries())
                tries.wrong += 1
                tries.last_s = now
                self._tries[key] = tries  # at the end: the dict is in order of the last guess
            while len(self._tries) > MOST_KEPT:
                del self._tries[next(iter(self._tries))]
            return 0.0

    def right(self, cleared: str, *, not_counted: Iterable[str] = ()) -> None:
        """Tell that the guess was right.

        Parameters
        ----------
        cleared : str
            Key that starts afresh: the name. The address does not, or one's own account would clear the guesses
            made at the others'.
        not_counted : iterable of str
            Keys from which only this guess is taken off.
        """
        with self._lock:
            self._tries.pop(cleared, None)
            for key in not_counted:
                tries = self._tries.get(key)
                if tries is not None:
                    tries.wrong -= 1
                    if tries.wrong <= 0:
                        del self._tries[key]

    def _wait_s(self, key: str, now: float) -> float:
        tries = self._tries.get(key)
        if tries is None:
            return 0.0
        if now - tries.last_s >= FORGOTTEN_AFTER_S:
            del self._tries[key]
            return 0.0
        if tries.wrong < FREE_TRIES:
            return 0.0
        # The exponent is bounded: a name that was guessed for years must not overflow.
        wait = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(tries.wrong - FREE_TRIES, 20))
        return max(0.0, tries.last_s + wait - now)
