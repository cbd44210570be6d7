"""Passphrases: which are taken, how they are kept, how they are checked.

Only the argon2id hash is stored (RFC 9106). Rules: NIST SP 800-63B, rev. 4, 3.1.1.2: at least 15 characters where the
passphrase is all that is asked for, no rules about kinds of characters, a list of refused ones, Unicode normalised.
"""

from __future__ import annotations

import re
import unicodedata
from threading import BoundedSemaphore, Lock
from typing import TYPE_CHECKING

from fruitwall.errors import JournalError
from fruitwall.speech import say

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST = 15
"""Characters at least: NIST SP 800-63B rev. 4, 3.1.1.2, for a passphrase without a second factor (rev. 3 asked 8)."""

LONGEST = 1000
"""Characters at most; the standard wants 64 or more to be taken. Our judgement."""

FEWEST_DIFFERENT = 6
"""Different characters at least, so that "abababababababab" is refused. Our judgement."""

AT_ONCE = 2
"""Hashes worked out at the same time: each takes 64 MiB, and the machine may be a small one. Our judgement."""

COMMON = (
    "contrasena",
    "password",
    "passphrase",
    "passwort",
    "secret",
    "secreto",
    "letmein",
    "welcome",
    "bienvenido",
    "iloveyou",
    "tequiero",
    "admin",
    "administrator",
    "fruitwall",
    "frutal",
    "fruit",
    "garden",
    "jardin",
    "orchard",
    "huerto",
    "mango",
    "avocado",
    "aguacate",
    "correcthorsebatterystaple",
    "qwerty",
    "qwertz",
    "asdf",
    "login",
    "access",
    "monkey",
    "dragon",
    "sunshine",
    "princess",
    "football",
    "master",
    "the",
    "my",
    "is",
    "mi",
    "es",
)
"""Words of which alone a passphrase must not be made, digits and signs beside. Our own list, from memory."""

RUNS = (
    "abcdefghijklmnopqrstuvwxyz",
    "qwertyuiopasdfghjklzxcvbnm",
    "qwertzuiopasdfghjklyxcvbnm",
    "01234567890123456789",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm",
)
"""Ways along the keyboard and the alphabet."""


def normalised(passphrase: str) -> str:
    """Give the form that is hashed: one form for every way of typing the same characters (Unicode NFKC)."""
    return unicodedata.normalize("NFKC", passphrase)


def check_new(passphrase: str, name: str) -> str:
    """Check a passphrase that somebody chose.

    Parameters
    ----------
    passphrase : str
        As typed.
    name : str
        Of the account; a passphrase that is only the name is refused.

    Returns
    -------
    str
        Normalised.

    Raises
    ------
    JournalError
        If it is too short, too long or easily guessed; says what would do.
    """
    text = normalised(passphrase)
    if len(text) < SHORTEST:
        raise JournalError(
            say(
                "A passphrase has at least {shortest} characters; four or five words that do not belong together "
                "are easy to keep in mind.",
                shortest=SHORTEST,
            )
        )
    if len(text) > LONGEST:
        raise JournalError(say("A passphrase has at most {longest} characters.", longest=LONGEST))
    if any(unicodedata.category(character) == "Cc" for character in text):
        raise JournalError(say("A passphrase is one line without control characters."))
    if _easily_guessed(text, name):
        raise JournalError(
            say("This passphrase is among the first that anybody would try; take words that do not belong together.")
        )
    return text


def _easily_guessed(text: str, name: str) -> bool:
    plain = _letters_and_digits(text)
    if len(set(plain)) < FEWEST_DIFFERENT:
        return True
    halves = range(1, len(plain) // 2 + 1)
    if any(len(plain) % size == 0 and plain == plain[:size] * (len(plain) // size) for size in halves):
        plain = plain[: next(size for size in halves if plain == plain[:size] * (len(plain) // size))]
    if any(plain in way * 2 or plain in (way * 2)[::-1] for way in RUNS):
        return True
    known = sorted({_letters_and_digits(name), *COMMON} - {""}, key=len, reverse=True)
    rest = re.sub("|".join(re.escape(word) for word in known), "", plain)
    return len(re.sub(r"\d", "", rest)) < 3


def _letters_and_digits(text: str) -> str:
    """Leave only letters and digits, lower-case, without accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(character for character in apart if character.isalnum())


class Passphrases:
    """Hashing and checking.

    Parameters
    ----------
    hasher : argon2.PasswordHasher, optional
        With its parameters; the library's own if left out (RFC 9106, second recommended set: 64 MiB, 3 passes).
    """

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._given = hasher
        self._turn = BoundedSemaphore(AT_ONCE)
        self._nobodys: str | None = None
        self._lock = Lock()

    def hashed(self, passphrase: str) -> str:
        """Hash a normalised passphrase for storing."""
        with self._turn:
            return self._hasher().hash(passphrase)

    def right(self, stored: str | None, passphrase: str) -> tuple[bool, str | None]:
        """Check what was typed; takes as long where there is nothing to check against.

        Parameters
        ----------
        stored : str or None
            The hash; None where there is no such account or it has no passphrase.
        passphrase : str
            As typed.

        Returns
        -------
        tuple of bool and (str or None)
            Whether it is right; and a new hash to store, if the parameters have risen since it was made.
        """
        from argon2.exceptions import InvalidHashError, VerificationError

        text = normalised(passphrase[: 4 * LONGEST])  # longer ones fit no hash; no work for a flood of characters
        nobodys = self._hash_of_nobody()  # always asked for: else the first unknown name would take twice as long
        against = stored or nobodys
        hasher = self._hasher()
        try:
            with self._turn:
                hasher.verify(against, text)
        except (VerificationError, InvalidHashError):
            return False, None
        if stored is None:
            return False, None
        return True, self.hashed(text) if hasher.check_needs_rehash(stored) else None

    def _hasher(self) -> PasswordHasher:
        if self._given is None:
            from argon2 import PasswordHasher

            self._given = PasswordHasher()
        return self._given

    def _hash_of_nobody(self) -> str:
        """Give a hash with the same parameters that no passphrase fits."""
        from secrets import token_urlsafe

        with self._lock:
            if self._nobodys is None:
                self._nobodys = self.hashed(token_urlsafe(32))
            return self._nobodys
