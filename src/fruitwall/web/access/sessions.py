"""From the cookie or key of a request to who asks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from secrets import token_urlsafe
from threading import Lock
from typing import TYPE_CHECKING

from itsdangerous import BadSignature, Signer
from starlette.requests import Request
from starlette.responses import Response

from fruitwall.journal.entries import Account, Key
from fruitwall.service.accounts import CALENDAR, Made, People, preferences_of
from fruitwall.speech import preferred_language, say
from fruitwall.web.reader import COOKIE, from_cookie
from fruitwall.web.who import RANK, Who

if TYPE_CHECKING:
    from fruitwall.web.access.reach import Reach
    from fruitwall.web.settings import WebSettings

REMEMBERED_S = 5.0
"""How long a device is taken for known without looking again; another process may end it meanwhile. Our judgement."""

MARK_LASTS_S = 400 * 86400
"""How long a browser is known for one in which somebody logged in; browsers keep no cookie longer (RFC 6265bis). [s]"""

MOST_REMEMBERED = 1000
"""Devices remembered at once."""


@dataclass(frozen=True)
class Known:
    """A device or script that was recognised.

    Attributes
    ----------
    key : Key
        By which.
    who : Who
        In whose name; the language is the account's, empty where it has none.
    """

    key: Key
    who: Who


class Sessions:
    """Recognises devices and scripts.

    Parameters
    ----------
    people : People
    reach : Reach
    """

    def __init__(self, people: People, reach: Reach) -> None:
        self.people = people
        self.reach = reach
        self._signer = Signer(reach.cookie_key, salt="fruitwall session", digest_method=_sha256)
        self._marker = Signer(reach.cookie_key, salt="fruitwall browser", digest_method=_sha256)
        self._remembered: dict[str, tuple[float, Known]] = {}
        self._lock = Lock()
        self._forgot = 0
        self._somebody = False
        self._nobody_until = -1.0

    # ------------------------------------------------------------ cookies

    def secret_in(self, request: Request) -> str | None:
        """Give the secret of a request's cookie; None without one, or with one that was not signed here."""
        signed = request.cookies.get(cookie_name(request))
        if signed is None:
            return None
        try:
            return self._signer.unsign(signed).decode()
        except (BadSignature, UnicodeDecodeError):
            return None

    def put(self, request: Request, response: Response, made: Made) -> None:
        """Have the browser keep a session; the one it had before ends.

        The cookie is `Lax`: a link in a message opens the page as who one is, while forms of other sites come without
        it (and are refused before, see `web.access.origin`).
        """
        self.drop_old(request)
        age = None if made.expires is None else int((made.expires - self.reach.now()).total_seconds())
        _set(request, response, cookie_name(request), self._signer.sign(made.secret), age)
        if self.mark_of(request, made.account) is None:
            mark = self._marker.sign(f"{made.account.id}.{token_urlsafe(16)}")
            _set(request, response, f"{cookie_name(request)}-knows", mark, MARK_LASTS_S)

    def mark_of(self, request: Request, account: Account | None) -> str | None:
        """Give the mark of a browser in which an account logged in before, also long ago; it opens nothing.

        Parameters
        ----------
        request : Request
        account : Account or None
            Whose log-in it must have been.

        Returns
        -------
        str or None
            Of this browser and account alone; None without one.
        """
        signed = request.cookies.get(f"{cookie_name(request)}-knows")
        if signed is None or account is None:
            return None
        try:
            mark = self._marker.unsign(signed).decode()
        except (BadSignature, UnicodeDecodeError):
            return None
        return mark if mark.split(".")[0] == str(account.id) else None

    def take(self, request: Request, response: Response) -> None:
        """End the session of a browser and take its cookie."""
        self.drop_old(request)
        response.delete_cookie(
            cookie_name(request), path="/", secure=request.url.scheme == "https", httponly=True, samesite="lax"
        )

    def drop_old(self, request: Request) -> None:
        """End the session that a request came with, if any."""
        secret = self.secret_in(request)
        key = None if secret is None else self.people.session(secret)
        if key is not None:
            self.people.end(key.id)
        self.forget()

    # ------------------------------------------------------------ who

    def remembered(self, secret: str) -> Known | None:
        """Give a device that was recognised a moment ago, without touching the database."""
        with self._lock:
            found = self._remembered.get(secret)
            if found is None or found[0] < self.reach.seconds():
                return None
            return found[1]

    def look_up(self, secret: str, *, script: bool) -> Known | None:
        """Recognise a device by the secret of its cookie, or a script by its key; asks the database.

        Parameters
        ----------
        secret : str
        script : bool
            Whether it came as the key of a script.
        """
        with self._lock:
            forgot = self._forgot
        if script:
            token = self.people.token(secret)
            if token is None:
                return None
            known = Known(token[0], _script(token[0], token[1]))
        else:
            key = self.people.session(secret)
            if key is None:
                return None
            known = Known(key, _person(key))
        with self._lock:
            # What was ended while we looked must not be remembered from before.
            if forgot == self._forgot:
                if len(self._remembered) >= MOST_REMEMBERED:
                    self._remembered.clear()
                self._remembered[secret] = (self.reach.seconds() + REMEMBERED_S, known)
        return known

    def calendar(self, secret: str) -> Known | None:
        """Recognise a calendar by the secret in its address; asks the database."""
        key = self.people.calendar(secret)
        # It only looks, whatever the account may.
        return None if key is None else Known(key, replace(_person(key), role="viewer", scope=CALENDAR))

    def forget(self) -> None:
        """Look everything up anew from now on; to be called whenever an account, device or key was changed here."""
        with self._lock:
            self._remembered.clear()
            self._forgot += 1
            self._nobody_until = -1.0

    def surely_somebody(self) -> bool | None:
        """Tell whether an account was ever made, None where the database has to be asked."""
        if self._somebody:
            return True
        return False if self.reach.seconds() < self._nobody_until else None

    def is_there_somebody(self) -> bool:
        """Ask the database whether an account was ever made."""
        with self._lock:
            forgot = self._forgot
        found = self.people.any_ever()
        with self._lock:
            if found:
                self._somebody = True
            elif forgot == self._forgot:
                self._nobody_until = self.reach.seconds() + REMEMBERED_S
        return found


def _set(request: Request, response: Response, name: str, signed: bytes, lasts_s: int | None) -> None:
    """Give the browser a signed cookie for all pages, closed to scripts."""
    secure = request.url.scheme == "https"
    response.set_cookie(name, signed.decode(), max_age=lasts_s, path="/", secure=secure, httponly=True, samesite="lax")


def sessions_of(settings: WebSettings) -> Sessions | None:
    """Make what recognises devices; None where there is no household, and nobody has to log in."""
    if settings.house is None:
        return None
    reach = settings.reach
    return Sessions(People(settings.house.accounts, reach.now, reach.passphrases), reach)


def cookie_name(request: Request) -> str:
    """Name the cookie: with the prefix by which browsers keep neighbours under the same name from setting it.

    The prefix (RFC 6265bis, 4.1.3.2) needs https.
    """
    return "__Host-fruitwall" if request.url.scheme == "https" else "fruitwall"


def browser_language(request: Request) -> str:
    """Give the language that a browser asks for, of those spoken here."""
    return preferred_language(request.headers.get("accept-language", "")) or "en"


def anyone_here(request: Request) -> Who:
    """Take everyone for the owner, who reads as this browser chose: for a server that answers this machine only."""
    chosen = from_cookie(request.cookies.get(COOKIE, ""))
    return Who(
        language=chosen.language or browser_language(request),
        temperature=chosen.temperature,
        length=chosen.length,
        mass=chosen.mass,
        volume=chosen.volume,
    )


def stranger(request: Request) -> Who:
    """Take somebody who has not logged in for nobody."""
    return Who(name="", role="viewer", language=browser_language(request), known=False)


def spoken(known: Known, request: Request) -> Who:
    """Give who was recognised, in their language or the browser's."""
    return known.who if known.who.language else replace(known.who, language=browser_language(request))


def device_of(request: Request) -> str:
    """Name a browser by what it says of itself, such as "Firefox on Android"."""
    agent = request.headers.get("user-agent", "")
    systems = (
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Android", "Android"),
        ("CrOS", "ChromeOS"),
        ("Windows", "Windows"),
        ("Mac OS X", "macOS"),
        ("Linux", "Linux"),
    )
    browsers = (
        ("Firefox/", "Firefox"),
        ("FxiOS/", "Firefox"),
        ("Edg", "Edge"),
        ("OPR/", "Opera"),
        ("SamsungBrowser/", "Samsung Internet"),
        ("Chrome/", "Chrome"),
        ("CriOS/", "Chrome"),
        ("Safari/", "Safari"),
    )
    system = next((name for part, name in systems if part in agent), None)
    browser = next((name for part, name in browsers if part in agent), None)
    if browser and system:
        return say("{browser} on {system}", browser=browser, system=system)
    return browser or system or say("A browser")


def _person(key: Key) -> Who:
    account = key.account
    prefers = preferences_of(account)
    return Who(
        name=account.name,
        role=account.role,
        language=prefers.language or "",
        temperature=prefers.temperature,
        length=prefers.length,
        mass=prefers.mass,
        volume=prefers.volume,
        account=account.id,
    )


def _script(key: Key, scope: str) -> Who:
    """Give what a script may do: never more than the account in whose name it acts."""
    person = _person(key)
    # Readings are logged, which helpers may; the layer holds the script to their address.
    asked = "helper" if scope == "readings" else scope
    return replace(person, role=min(asked, person.role, key=RANK.__getitem__), scope=scope)


def _sha256(data: bytes = b"") -> object:
    import hashlib

    return hashlib.sha256(data)
