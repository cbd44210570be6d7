"""Amounts of water as people enter and read them: litres or gallons, or minutes of a tree's emitter."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from fruitwall.service.household import decimal
from fruitwall.speech import say
from fruitwall.yard.display import format_quantity
from fruitwall.yard.units import KINDS, NUMBER, read_quantity

if TYPE_CHECKING:
    from fruitwall.yard.model import Display, Tree

MOST_LITRES = 20000.0
"""More is not given to one tree at once; a slip of the pen. Our judgement. [L]"""

_TIME = re.compile(r"[-+0-9.\s]*(?:min|minutes?|minutos?|h|hr|hours?|horas?|s|sec)", re.IGNORECASE)


def amount_words(litres: float, display: Display) -> str:
    """Write an amount of water in the unit of who reads: "18 L", "4.8 gal"."""
    return decimal(format_quantity(litres, "volume", display))


def read_amount(text: str, display: Display, tree: Tree | None) -> float | None:
    """Read how much water was given.

    Parameters
    ----------
    text : str
        "18" in the unit of who reads; "18 L", "5 gal"; "40 min" or "1.5 h" of the tree's emitter; empty for not known.
    display : Display
        Of who enters it.
    tree : Tree or None
        Whose emitter turns minutes into litres.

    Returns
    -------
    float or None
        None where nothing was entered. [L]

    Raises
    ------
    ValueError
        Saying what is wrong.
    """
    text = re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text.strip())
    if not text:
        return None
    if _TIME.fullmatch(text):
        if tree is None or tree.emitter is None:
            raise ValueError(
                say("Minutes need an emitter: enter it with the tree on the page Yard, or give the amount of water.")
            )
        spoken = re.sub(r"minutos?", "min", re.sub(r"horas?", "h", text, flags=re.I), flags=re.I)
        litres = _read("time", spoken) / 60.0 * tree.emitter.total_l_h
    elif re.fullmatch(NUMBER, text):
        litres = _read("volume", f"{text} {display.volume}")
    else:
        litres = _read("volume", text)
    if not 0.0 <= litres <= MOST_LITRES:
        most = amount_words(MOST_LITRES, display)
        raise ValueError(say("An amount of water is from 0 to {most}.", most=most))
    return round(litres, 3)


def _read(kind: str, text: str) -> float:
    try:
        return read_quantity(KINDS[kind], text)
    except ValueError as error:
        raise ValueError(
            say("Give an amount such as 18 L or 5 gal, or minutes of the emitter such as 40 min.")
        ) from error
