"""Asking a weather service over the network, as its terms wish.

Every answer is kept on disk with its validators. It is not asked for again before it expires; then only "has it
changed?" is asked. When the service cannot be reached, the kept answer is used for a while, never silently. Requests
name the program and a contact, wait as long as they are told to, and end after a few tries.
"""

from __future__ import annotations

import email.utils
import hashlib
import json
import os
import re
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from fruitwall import __version__
from fruitwall.errors import SourceUnavailable, WeatherError
from fruitwall.speech import told

if TYPE_CHECKING:
    import httpx2

TIMEOUT_S = 20.0
"""Longest wait for a connection or for the next part of an answer. [s]"""

TRIES = 3
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 20.0
"""A service that asks for a longer pause is left alone until later. [s]"""

LARGEST_ANSWER_BYTES = 20_000_000
"""A week of 51 members in JSON is about 2 MB."""

FRESH_WITHOUT_WORD = timedelta(minutes=15)
"""How long an answer counts as fresh if the service says nothing; forecasts change a few times a day."""

STALE_AT_MOST = timedelta(hours=36)
"""How old a kept answer may be to stand in for a service that cannot be reached."""

NO_CONTACT = "no contact given"

RETRIED = frozenset({429, 500, 502, 503, 504})


@dataclass(frozen=True)
class Answer:
    """What a service said, and when.

    Attributes
    ----------
    url : str
        What was asked.
    text : str
        Body.
    fetched_utc : datetime
        When the service last confirmed it.
    note : str
        Warning for the user; empty if the answer is up to date.
    """

    url: str
    text: str
    fetched_utc: datetime
    note: str = ""


@dataclass(frozen=True)
class _Kept:
    """An answer on disk with its validators."""

    url: str
    text: str
    fetched_utc: datetime
    expires_utc: datetime
    etag: str
    last_modified: str


def fetch(
    url: str,
    *,
    now: datetime,
    cache_dir: Path | None = None,
    client: httpx2.Client | None = None,
    contact: str = NO_CONTACT,
    pause: Callable[[float], None] = time.sleep,
) -> Answer:
    """Ask for an address, or take the kept answer while it is fresh.

    Parameters
    ----------
    url : str
        http or https.
    now : datetime, aware
        The present.
    cache_dir : Path, optional
        Folder of kept answers, made if need be; without it nothing is kept.
    client : httpx2.Client, optional
        For tests or a client shared by the process; otherwise one is made for this call.
    contact : str
        E-mail or web address of whoever runs this program: the services ask for it.
    pause : callable
        Waits for some seconds.

    Returns
    -------
    Answer

    Raises
    ------
    SourceUnavailable
        If the service cannot be reached or will not answer and no kept answer is recent enough.
    WeatherError
        If the request itself is wrong (no such place, refused, too large an answer).
    """
    _check_address(url)
    path = None if cache_dir is None else cache_dir / f"{hashlib.sha256(url.encode()).hexdigest()[:32]}.json"
    kept = None if path is None else _read_kept(path, url)
    if kept is not None and kept.fetched_utc <= now < kept.expires_utc:
        return Answer(url, kept.text, kept.fetched_utc)
    try:
        if client is not None:
            fresh = _ask(client, url, kept, now=now, contact=contact, pause=pause)
        else:
            with _new_client() as own:
                fresh = _ask(own, url, kept, now=now, contact=contact, pause=pause)
    except SourceUnavailable as error:
        return _stand_in(kept, url, now, error)
    if path is not None:
        _keep(path, fresh)
    return Answer(url, fresh.text, fresh.fetched_utc)


def user_agent(contact: str = NO_CONTACT) -> str:
    """Give the User-Agent by which a service can find out who asks."""
    clean = re.sub(r"[^\x20-\x7e]|[()]", "", contact).strip() or NO_CONTACT
    return f"fruitwall/{__version__} ({clean})"


def host_of(url: str) -> str:
    """Give the host of an address, for messages."""
    match = re.match(r"https?://([^/?#]+)", url, flags=re.IGNORECASE)
    return match[1] if match else url


def _check_address(url: str) -> None:
    """Refuse what is no web address before the network is asked."""
    try:
        parts = urlsplit(url)
        sound = parts.scheme.lower() in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        sound = False
    if not sound or any(letter.isspace() for letter in url):
        raise WeatherError(
            told('{url}: this is no address that can be asked; expected one such as "https://api.met.no/..."', url=url)
        )


def _new_client() -> httpx2.Client:
    """Make a client; costs some 20 ms."""
    import httpx2

    return httpx2.Client(timeout=httpx2.Timeout(TIMEOUT_S), follow_redirects=True, max_redirects=5)


def _ask(
    client: httpx2.Client,
    url: str,
    kept: _Kept | None,
    *,
    now: datetime,
    contact: str,
    pause: Callable[[float], None],
) -> _Kept:
    """Ask until there is an answer, a refusal, or no point in asking on."""
    import httpx2

    headers = {"User-Agent": user_agent(contact), "Accept": "application/geo+json, application/json, text/csv;q=0.9"}
    if kept is not None and kept.etag:
        headers["If-None-Match"] = kept.etag
    if kept is not None and kept.last_modified:
        headers["If-Modified-Since"] = kept.last_modified
    trouble = ""
    for attempt in range(TRIES):
        wait_s = FIRST_PAUSE_S * 2**attempt
        try:
            with client.stream("GET", url, headers=headers) as response:
                if response.status_code == 304 and kept is not None:
                    return _kept(url, kept.text, response.headers, now=now, before=kept)
                if response.status_code in (200, 203):
                    return _kept(url, _body(response, url), response.headers, now=now)
                trouble = told("it answered {status}", status=response.status_code)
                if response.status_code not in RETRIED:
                    raise _refusal(response.status_code, url)
                asked_s = _retry_after(response.headers, now)
                if asked_s is not None and asked_s > LONGEST_PAUSE_S:
                    later = now + timedelta(seconds=asked_s)
                    raise SourceUnavailable(
                        told(
                            "{trouble} and asks to be left alone until {later:%H:%M} UTC", trouble=trouble, later=later
                        )
                    )
                wait_s = wait_s if asked_s is None else max(asked_s, 0.0)
        except httpx2.TimeoutException:
            trouble = told("no answer within {seconds:g} s", seconds=TIMEOUT_S)
        except (httpx2.InvalidURL, httpx2.UnsupportedProtocol) as error:
            raise WeatherError(
                told("{url}: this is no address that can be asked ({error})", url=url, error=error)
            ) from error
        except httpx2.TooManyRedirects as error:
            raise WeatherError(told("{url}: it sends us on too many times", url=url)) from error
        except httpx2.RequestError as error:
            trouble = told("no connection ({error})", error=error) if str(error) else told("no connection")
        if attempt + 1 < TRIES:
            pause(wait_s)
    raise SourceUnavailable(told("{trouble}, {tries} tries", trouble=trouble, tries=TRIES))


def _body(response: httpx2.Response, url: str) -> str:
    """Read the body, no further than any forecast is long."""
    parts: list[bytes] = []
    length = 0
    for part in response.iter_bytes():
        length += len(part)
        if length > LARGEST_ANSWER_BYTES:
            raise WeatherError(
                told(
                    "{url}: the answer is larger than {most} MB; no forecast is",
                    url=url,
                    most=LARGEST_ANSWER_BYTES // 1_000_000,
                )
            )
        parts.append(part)
    try:
        return b"".join(parts).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise WeatherError(told("{url}: the answer is no text", url=url)) from error


def _refusal(status: int, url: str) -> WeatherError:
    """Say what a lasting refusal means."""
    host = host_of(url)
    if status == 404 and host == "api.weather.gov":
        return WeatherError(
            told(
                "{url}: no forecast for this place (404); the US service covers the United States only. "
                'Elsewhere use "met-norway" or "open-meteo"',
                url=url,
            )
        )
    if status in (401, 403):
        return WeatherError(
            told(
                "{url}: {host} refuses to answer ({status}); it may want a contact (setting `contact`) "
                "or has blocked this address",
                url=url,
                host=host,
                status=status,
            )
        )
    return WeatherError(
        told(
            "{url}: {host} cannot answer this request ({status}); check place and address",
            url=url,
            host=host,
            status=status,
        )
    )


def _stand_in(kept: _Kept | None, url: str, now: datetime, error: SourceUnavailable) -> Answer:
    """Give the kept answer with a warning if it is recent enough, else say what was tried and what to do."""
    host = host_of(url)
    if kept is None:
        raise SourceUnavailable(
            told(
                "no forecast: {host} could not be asked ({error}). Try again later, or give a forecast "
                "file of your own",
                host=host,
                error=error.kept,
            )
        ) from error
    age = now - kept.fetched_utc
    since = f"{kept.fetched_utc:%Y-%m-%d %H:%M} UTC"
    if not timedelta(0) <= age <= STALE_AT_MOST:
        raise SourceUnavailable(
            told(
                "no forecast since {since}: {host} could not be asked ({error}), and that one is too old "
                "to use. Try again later, or give a forecast file of your own",
                since=since,
                host=host,
                error=error.kept,
            )
        ) from error
    hours = age / timedelta(hours=1)
    return Answer(
        url,
        kept.text,
        kept.fetched_utc,
        note=told(
            "{host} could not be asked ({error}); this is its answer of {since}, {hours:.1f} h old",
            host=host,
            error=error.kept,
            since=since,
            hours=hours,
        ),
    )


def _retry_after(headers: Mapping[str, str], now: datetime) -> float | None:
    """Read how long a service asks to be left alone: seconds or a date. [s]"""
    text = headers.get("retry-after", "").strip()
    if text.isdigit():
        return float(text)
    at = _http_date(text)
    return None if at is None else (at - now).total_seconds()


def _http_date(text: str) -> datetime | None:
    """Read a date of an HTTP header, or nothing."""
    try:
        moment = email.utils.parsedate_to_datetime(text)
    except (TypeError, ValueError):
        return None
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def _kept(url: str, text: str, headers: Mapping[str, str], *, now: datetime, before: _Kept | None = None) -> _Kept:
    """Join a body and its headers; validators that a 304 leaves out stay."""
    return _Kept(
        url=url,
        text=text,
        fetched_utc=now,
        expires_utc=_expires(headers, now),
        etag=headers.get("etag", before.etag if before else ""),
        last_modified=headers.get("last-modified", before.last_modified if before else ""),
    )


def _expires(headers: Mapping[str, str], now: datetime) -> datetime:
    """Give until when an answer is fresh: max-age, else Expires, else a quarter of an hour."""
    control = headers.get("cache-control", "").lower()
    if "no-store" in control or "no-cache" in control:
        return now
    age = re.search(r"max-age\s*=\s*(\d{1,9})", control)
    if age is not None:
        return now + timedelta(seconds=int(age[1]))
    if "expires" in headers:
        at = _http_date(headers["expires"])
        served = _http_date(headers.get("date", ""))
        if at is None:
            return now
        # By the service's own clock, so that a wrong clock here makes neither eternal nor useless answers.
        return at if served is None else now + (at - served)
    return now + FRESH_WITHOUT_WORD


def _read_kept(path: Path, url: str) -> _Kept | None:
    """Read a kept answer; one that cannot be read counts as none."""
    try:
        fields: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        if fields["url"] != url:
            return None
        return _Kept(
            url=url,
            text=str(fields["text"]),
            fetched_utc=datetime.fromisoformat(fields["fetched_utc"]),
            expires_utc=datetime.fromisoformat(fields["expires_utc"]),
            etag=str(fields["etag"]),
            last_modified=str(fields["last_modified"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _keep(path: Path, answer: _Kept) -> None:
    """Write an answer to disk at once or not at all; a full disk costs the cache, not the forecast."""
    fields = {
        "url": answer.url,
        "fetched_utc": answer.fetched_utc.isoformat(),
        "expires_utc": answer.expires_utc.isoformat(),
        "etag": answer.etag,
        "last_modified": answer.last_modified,
        "text": answer.text,
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(fields, file)
        Path(name).replace(path)
    except OSError:
        return
