"""Moments as devices and scripts write them."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated

from pydantic import AwareDatetime, BeforeValidator

from fruitwall.speech import say


def written_out(moment: object) -> object:
    """Refuse a time given as a bare number: seconds, milliseconds and days since when all look alike.

    Parameters
    ----------
    moment : object
        As it came, before it is read.

    Returns
    -------
    object
        The same.

    Raises
    ------
    ValueError
        If it does not begin with a year and a hyphen.
    """
    if isinstance(moment, datetime) or (isinstance(moment, str) and moment[:4].isdecimal() and moment[4:5] == "-"):
        return moment
    raise ValueError(say("A time must be written as 2026-12-22T06:30:00Z."))


WrittenMoment = Annotated[AwareDatetime, BeforeValidator(written_out)]
"""A moment with its zone, written out (RFC 3339)."""

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def day_written_out(day: object) -> object:
    """Refuse a day given as a bare number, which would be read as seconds since 1970.

    Parameters
    ----------
    day : object
        As it came, before it is read.

    Returns
    -------
    object
        The same.

    Raises
    ------
    ValueError
        If it is not of the form of 2026-12-22.
    """
    if isinstance(day, date) or (isinstance(day, str) and _DAY.fullmatch(day)):
        return day
    raise ValueError(say("A night is named by the date of its evening: 2026-12-22."))


WrittenDay = Annotated[date, BeforeValidator(day_written_out)]
"""A day, written out (RFC 3339, full-date)."""
