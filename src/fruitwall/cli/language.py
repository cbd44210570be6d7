"""In which language the commands speak: as asked for, else as the environment is set.

The option is taken before anything is parsed, so that it may stand anywhere and every refusal is spoken in it already.
The help and the parser's own words are those of the library, in English.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping, Sequence
from typing import Any

from typer.core import TyperGroup

from fruitwall.speech import LANGUAGES, known_language, speaking

OPTION = "--language"
VARIABLE = "FRUITWALL_LANGUAGE"
LOCALE = ("LC_ALL", "LC_MESSAGES", "LANG")
"""The first of these that is set says in which language programs speak (POSIX)."""


class SpeakingGroup(TyperGroup):
    """The whole command, run in the language that was asked for."""

    def main(self, args: Sequence[str] | None = None, *more: Any, **options: Any) -> Any:
        """Take the language out of what was typed, and run the rest in it."""
        rest, asked = without_language(sys.argv[1:] if args is None else args)
        with speaking(language_of(asked, os.environ)):
            return super().main(rest, *more, **options)


def without_language(typed: Sequence[str]) -> tuple[list[str], str | None]:
    """Give what was typed without the language, and the language; the last one counts.

    Parameters
    ----------
    typed : sequence of str
        Arguments of the command.

    Returns
    -------
    list of str, str or None
        After ``--`` nothing is taken out.
    """
    rest: list[str] = []
    asked = None
    left = list(typed)
    while left:
        one = left.pop(0)
        if one == "--":
            return [*rest, one, *left], asked
        if one == OPTION:
            asked = left.pop(0) if left else ""
        elif one.startswith(f"{OPTION}="):
            asked = one.partition("=")[2]
        else:
            rest.append(one)
    return rest, asked


def language_of(asked: str | None, environment: Mapping[str, str]) -> str:
    """Give the language to speak.

    Parameters
    ----------
    asked : str or None
        What ``--language`` names.
    environment : mapping
        Of the process.

    Returns
    -------
    str
        A code of `LANGUAGES`: as asked for, else of ``FRUITWALL_LANGUAGE``, else of the locale, else English.

    Raises
    ------
    FruitwallError
        If a language is asked for that is not spoken here.
    """
    locale = next((environment[name] for name in LOCALE if environment.get(name)), "")
    usual = _spoken(locale) or "en"
    wanted = ((OPTION, asked), (VARIABLE, environment.get(VARIABLE) or None))
    for name, given in wanted:
        if given is not None:
            return _spoken(given) or _refuse(name, given, usual)
    return usual


def _spoken(name: str) -> str | None:
    """Give the language of a tag or locale such as ``es-MX`` or ``es_MX.UTF-8``."""
    return known_language(re.split(r"[.@]", name)[0])


def _refuse(name: str, given: str, usual: str) -> str:
    from fruitwall.cli.given import refuse
    from fruitwall.speech import say

    with speaking(usual):
        refuse(
            say(
                '{option}: expected one of {languages}, got "{given}"',
                option=name,
                languages=", ".join(LANGUAGES),
                given=given,
            )
        )
