"""Which known name may somebody have meant?"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from difflib import SequenceMatcher

from fruitwall.speech import say, say_either


def folded(name: str) -> str:
    """Give a name in small letters without accents, signs and double blanks, for comparing.

    Examples
    --------
    >>> folded("Annona × atemoya"), folded("  Plátano_rojo ")
    ('annona x atemoya', 'platano rojo')
    """
    plain = unicodedata.normalize("NFKD", name.replace("×", "x").casefold())
    kept = (" " if c in "-_/'’.,()" else c for c in plain if not unicodedata.combining(c))
    return " ".join("".join(kept).split())


def _likeness(word: str, name: str) -> float:
    """Give how alike two folded names are, 0 to 1."""
    if word == name:
        return 1.0
    if len(word) > 2 and f" {word} " in f" {name} ":  # "atemoya" in "annona x atemoya", "los angeles"
        return 0.95
    whole = SequenceMatcher(None, word, name, autojunk=False).ratio()
    parts = name.split()
    if len(parts) <= 1 or len(word) <= 2:
        return whole
    # "lichi" means "litchi chinensis": one word may do, for a little less
    return max(whole, 0.95 * max(SequenceMatcher(None, word, part, autojunk=False).ratio() for part in parts))


def near_names(word: str, known: Iterable[str], n: int = 3, *, at_least: float = 0.6) -> list[str]:
    """Give the known names that come nearest to a word, nearest first.

    Parameters
    ----------
    word : str
        As written; case, accents, hyphens and blanks do not count.
    known : iterable of str
        Names to choose from.
    n : int
        At most so many, 0 or more.
    at_least : float
        Likeness below which a name is not offered, 0 to 1.

    Returns
    -------
    list of str
        Spelled as in `known`, without repeats; equally near ones in alphabetical order.

    Raises
    ------
    ValueError
        If `n` is negative or `at_least` is outside its range.

    Notes
    -----
    Likeness is twice the letters in matching runs over all letters (Ratcliff and Obershelp, as in `difflib`), of the
    whole name or of its best single word.

    Examples
    --------
    >>> near_names("lychi", ["lychee", "lemon", "loquat"])
    ['lychee']
    """
    if n < 0:
        raise ValueError(f"n must be 0 or more, got {n}")
    if not 0 <= at_least <= 1:
        raise ValueError(f"at_least must be from 0 to 1, got {at_least}")
    wanted = folded(word[:120])
    if not wanted:
        return []
    likeness = {name: _likeness(wanted, folded(name)) for name in known}
    near = sorted((name for name, score in likeness.items() if score >= at_least), key=lambda k: (-likeness[k], k))
    return near[:n]


def did_you_mean(word: str, known: Iterable[str], *, at_least: float = 0.6) -> str:
    """Give the tail of a message, such as ``; did you mean height?``, or nothing."""
    near = near_names(word, known, at_least=at_least)
    return say("; did you mean {names}?", names=say_either(near)) if near else ""
