"""Style sheets, scripts and pictures as served: each under a URL that carries a hash of its content.

A changed file gets a new URL, so a browser may keep every file for ever and never shows a stale one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml; charset=utf-8",
}
"""What may be served, by suffix; anything else in the package stays inside."""


@dataclass(frozen=True)
class Asset:
    """One file as served."""

    name: str
    """Name that templates use, such as evening.css."""
    url: str
    """Path with the hash of the content in it."""
    kind: str
    """Content type."""
    body: bytes


class Assets:
    """All files that pages may ask for, read once.

    Parameters
    ----------
    folders : iterable of Path
        Folders whose `.css`, `.js` and `.svg` files are served. Names must differ.

    Raises
    ------
    ValueError
        If two files share a name.
    """

    def __init__(self, folders: Iterable[Path]) -> None:
        self._by_name: dict[str, Asset] = {}
        for folder in folders:
            for path in sorted(folder.iterdir()):
                if path.suffix not in KINDS:
                    continue
                if path.name in self._by_name:
                    raise ValueError(f"two assets are named {path.name}; give the one in {folder} another name")
                body = path.read_bytes()
                mark = sha256(body).hexdigest()[:12]
                url = f"/static/{path.stem}.{mark}{path.suffix}"
                self._by_name[path.name] = Asset(path.name, url, KINDS[path.suffix], body)
        self._by_url = {asset.url: asset for asset in self._by_name.values()}

    def url(self, name: str) -> str:
        """Give the URL of a file by its name; a KeyError is a misspelt template."""
        return self._by_name[name].url

    def at(self, url: str) -> Asset | None:
        """Give the file at a URL, or None."""
        return self._by_url.get(url)
