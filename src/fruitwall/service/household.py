"""How one household reads: its temperature and length units, its clock.

Plans are °C, metres and UTC throughout; this is where they turn into what this household reads, in the terminal, on
the pages and in the sentences of a plan.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import floor, isnan
from zoneinfo import ZoneInfo

from fruitwall.speech import Amount, language, note_same, say, say_count
from fruitwall.yard.display import format_quantity
from fruitwall.yard.model import Display

MINUS = "\N{MINUS SIGN}"
NO_BREAK = "\N{NO-BREAK SPACE}"
FEET_PER_METRE = 1 / 0.3048
MILES_PER_HOUR = 3600 / 1609.344
"""One metre a second in miles an hour."""


TEMPERATURE_IN_TEXT = re.compile(r"([-\N{MINUS SIGN}]?\d+(?:[.,]\d+)?)\s*°C")
LENGTH_IN_TEXT = re.compile(r"(\d+(?:[.,]\d+)?)\s*m\b(?![²/])")
MASS_IN_TEXT = re.compile(r"(\d+(?:[.,]\d+)?)\s*kg\b")
DIFFERENCE_IN_TEXT = re.compile(r"(\d+(?:[.,]\d+)?)\s*K\b")


def _number(text: str) -> float:
    """Read a number written with either minus sign and either decimal mark."""
    return float(text.replace(MINUS, "-").replace(",", "."))


OLD = timedelta(days=183)
"""What happened so long ago is told with its year."""


@dataclass(frozen=True)
class Household:
    """The units and the zone in which one household reads."""

    display: Display
    zone: ZoneInfo

    @property
    def fahrenheit(self) -> bool:
        """Whether temperatures are read in °F."""
        return self.display.temperature == "F"

    @property
    def degree(self) -> str:
        """Unit of temperatures, and of differences in words."""
        return "°F" if self.fahrenheit else "°C"

    @property
    def step(self) -> str:
        """Unit of margins: degrees that are differences."""
        return "°F" if self.fahrenheit else "K"

    def temperature(self, celsius: float) -> str:
        """Write a temperature: whole °F, or °C with one decimal."""
        if isnan(celsius):
            return say("unknown")
        text = f"{celsius * 1.8 + 32:.0f}" if self.fahrenheit else f"{celsius:.1f}"
        return Amount(decimal(f"{signed(text)}{NO_BREAK}{self.degree}"), "temperature", celsius)

    def bare_temperature(self, celsius: float) -> str:
        """Write a temperature without its unit, for a column that names it."""
        return self.temperature(celsius).removesuffix(f"{NO_BREAK}{self.degree}")

    def bare_difference(self, kelvin: float) -> str:
        """Write a signed difference without its unit: "+3", "\N{MINUS SIGN}1.5"."""
        if isnan(kelvin):
            return say("unknown")
        text = f"{kelvin * 1.8:+.0f}" if self.fahrenheit else f"{kelvin:+.1f}"
        return decimal(signed(text) if float(text) else text.lstrip("+-"))

    def tenths(self, celsius: float) -> str:
        """Write a temperature to a tenth of a degree without its unit, for a column that names it."""
        return say("unknown") if isnan(celsius) else decimal(signed(f"{self.degrees(celsius):.1f}"))

    def change(self, before_c: float, after_c: float) -> str:
        """Write the difference of two temperatures as `tenths` shows them, with sign: "+0.7"; "0.0" for none."""
        text = f"{round(self.degrees(after_c), 1) - round(self.degrees(before_c), 1):+.1f}"
        return decimal(signed(text) if float(text) else "0.0")

    def degrees(self, celsius: float) -> float:
        """Turn a temperature into the household's degrees, not rounded."""
        return celsius * 1.8 + 32 if self.fahrenheit else celsius

    def temperatures(self, low_c: float, high_c: float) -> str:
        """Write a range of temperatures with one unit: "−3.1 to 0.2 °C"; once where both round to the same."""
        low, high = self.temperature(low_c), self.temperature(high_c)
        text = str(high)
        if low != high:
            text = say("{low} to {high}", low=low.removesuffix(f"{NO_BREAK}{self.degree}"), high=high)
        return Amount(text, "temperatures", low_c, high_c)

    def difference(self, kelvin: float) -> str:
        """Write the size of a temperature difference without its sign: whole °F, or K with one decimal."""
        if isnan(kelvin):
            return say("unknown")
        size = abs(kelvin)
        text = f"{size * 1.8:.0f}" if self.fahrenheit else f"{size:.1f}"
        return Amount(decimal(f"{text}{NO_BREAK}{self.step}"), "difference", kelvin)

    def fine_difference(self, kelvin: float) -> str:
        """Write the size of a small difference without its sign, with one decimal in either unit."""
        if isnan(kelvin):
            return say("unknown")
        return decimal(f"{abs(kelvin) * (1.8 if self.fahrenheit else 1.0):.1f}{NO_BREAK}{self.step}")

    def bare_fine_difference(self, kelvin: float) -> str:
        """Write a small signed difference without its unit, with one decimal: "+0.4"."""
        if isnan(kelvin):
            return say("unknown")
        text = f"{kelvin * (1.8 if self.fahrenheit else 1.0):+.1f}"
        return decimal(signed(text) if float(text) else text.lstrip("+-"))

    def bound(self, kelvin: float) -> str:
        """Write a limit of the margin scale exactly: "2 K", "3.6 °F"."""
        return decimal(f"{abs(kelvin) * (1.8 if self.fahrenheit else 1):.2g}{NO_BREAK}{self.step}")

    def in_own_units(self, text: str) -> str:
        """Turn the °C, K, m and kg of a sentence from below into this household's units."""
        said = text
        if self.fahrenheit:
            text = TEMPERATURE_IN_TEXT.sub(lambda found: self.temperature(_number(found[1])), text)
            text = DIFFERENCE_IN_TEXT.sub(lambda found: self.difference(_number(found[1])), text)
        if self.display.length == "ft":
            text = LENGTH_IN_TEXT.sub(lambda found: self.length(_number(found[1])), text)
        if self.display.mass == "lb":
            text = MASS_IN_TEXT.sub(
                lambda found: decimal(format_quantity(_number(found[1]), "mass", self.display)), text
            )
        return note_same(text, said)

    def again(self, amount: Amount) -> str:
        """Write an amount of a sentence that was made for another reader, for this one."""
        parts = amount.parts
        if amount.kind == "quantity":
            value, unit, spec = float(parts[0]), parts[1], str(parts[2])
            known = {"m": self.length, "K": self.difference, "°C": self.temperature}
            if unit in known:
                return known[str(unit)](value)
            if unit == "kg":
                return decimal(format_quantity(value, "mass", self.display))
            if unit == "L":
                return decimal(format_quantity(value, "volume", self.display))
            return decimal(f"{value:{spec}}{NO_BREAK if unit else ''}{unit}")
        if amount.kind == "day":
            return short_day(date.fromisoformat(str(parts[0])))
        if amount.kind == "weekday":
            return weekday(date.fromisoformat(str(parts[0])))
        if amount.kind == "percent":
            return percent(float(parts[0]))
        written: dict[str, Callable[..., str]] = {
            "temperature": self.temperature,
            "temperatures": self.temperatures,
            "difference": self.difference,
            "length": self.length,
            "wind": self.wind,
        }
        write = written.get(amount.kind)
        return write(*parts) if write is not None else amount

    def margin(self, kelvin: float) -> str:
        """Write a margin in words: "3.2 K to spare", "1.0 K short"."""
        if isnan(kelvin):
            return say("unknown")
        return say("{size} to spare" if kelvin >= 0 else "{size} short", size=self.difference(kelvin))

    def margin_number(self, kelvin: float) -> str:
        """Write a margin as a bare number, rounded down: that is, towards danger, so −0.2 never reads as 0."""
        if isnan(kelvin):
            return "?"
        return signed(str(floor(kelvin * 1.8 if self.fahrenheit else kelvin)))

    def length(self, metres: float) -> str:
        """Write a length: whole feet, or metres with one decimal below ten."""
        if self.display.length == "ft":
            text = f"{metres * FEET_PER_METRE:.0f}{NO_BREAK}ft"
        else:
            text = f"{metres:.{0 if metres >= 10 else 1}f}{NO_BREAK}m".replace(f".0{NO_BREAK}", NO_BREAK)
        return Amount(decimal(text), "length", metres)

    def wind(self, metres_per_second: float) -> str:
        """Write a wind speed: whole miles an hour for households that read feet, else m/s with one decimal."""
        if isnan(metres_per_second):
            return say("unknown")
        if self.display.length == "ft":
            return Amount(f"{metres_per_second * MILES_PER_HOUR:.0f}{NO_BREAK}mph", "wind", metres_per_second)
        return Amount(decimal(f"{metres_per_second:.1f}{NO_BREAK}m/s"), "wind", metres_per_second)

    def clock(self, moment: datetime) -> str:
        """Write a time of day on the yard's clock: "16:43"."""
        return f"{moment.astimezone(self.zone):%H:%M}"

    def hour(self, moment: datetime) -> str:
        """Write the hour alone, as the strip's columns carry it: "05"."""
        return f"{moment.astimezone(self.zone):%H}"

    def moment(self, moment: datetime, now: datetime | None = None) -> str:
        """Write day and time: "Tue 22 Dec, 14:05"; with the year where that is half a year before `now` or longer."""
        local = moment.astimezone(self.zone)
        year = f" {local.year}" if now is not None and now - moment >= OLD else ""
        return f"{short_day(local.date())}{year}, {local:%H:%M}"


def signed(text: str) -> str:
    """Replace the hyphen of a negative number by a minus sign, and drop it from a zero."""
    if text.startswith("-"):
        return MINUS + text[1:] if text.strip("-0.,") else text[1:]
    return text


def decimal(text: str) -> str:
    """Write the decimal mark of the language in force."""
    return text.replace(".", ",") if language() == "es" else text


def number(value: float, decimals: int = 0) -> str:
    """Write a bare number with the marks of the language in force: "1,651.5", in Spanish "1651,5".

    Notes
    -----
    In Spanish thousands are parted by a space and from five digits on (Real Academia Española, Ortografía, 2010): a
    point could be read as the decimal mark that it is in English and in Mexico.
    """
    text = f"{value:,.{decimals}f}"
    if language() == "es":
        text = text.replace(",", NO_BREAK if abs(value) >= 10_000 else "").replace(".", ",")
    return signed(text)


def weekday(day: date) -> str:
    """Write the name of a day of the week: "Tuesday", in Spanish "martes"."""
    return Amount(_of_locale(day, "EEEE") if language() != "en" else f"{day:%A}", "weekday", str(day))


def _of_locale(day: date, pattern: str) -> str:
    from babel.dates import format_date

    return format_date(day, pattern, locale=language())


def month_name(day: date) -> str:
    """Write the name of a day's month: "December", in Spanish "diciembre"."""
    return _of_locale(day, "LLLL") if language() != "en" else f"{day:%B}"


def long_day(day: date) -> str:
    """Write a day in full: "Tuesday 22 December 2026"."""
    if language() != "en":
        return _of_locale(day, "EEEE d 'de' MMMM 'de' y")
    return f"{day:%A} {day.day} {day:%B} {day.year}"


def short_day(day: date) -> str:
    """Write a day briefly: "Wed 23 Dec"."""
    text = _of_locale(day, "EEE d MMM") if language() != "en" else f"{day:%a} {day.day} {day:%b}"
    return Amount(text, "day", str(day))


def percent(share: float) -> str:
    """Write a probability: never "0 %" for something possible, never "100 %" for something not sure."""
    if isnan(share):
        return say("unknown")
    if 0 < share < 0.01:
        text = say("under\N{NO-BREAK SPACE}1\N{NO-BREAK SPACE}%")
    elif 0.99 < share < 1:
        text = say("over\N{NO-BREAK SPACE}99\N{NO-BREAK SPACE}%")
    else:
        text = f"{share * 100:.0f}{NO_BREAK}%"
    return Amount(text, "percent", share)


def bare_percent(share: float) -> str:
    """Write a probability as a number for a column headed "%": "<1", "35", ">99"."""
    if isnan(share):
        return "?"
    if 0 < share < 0.01:
        return "<1"
    if 0.99 < share < 1:
        return ">99"
    return f"{share * 100:.0f}"


def minutes(value: float) -> str:
    """Write a duration: "40 min", "1 h 05 min"."""
    whole = round(value)
    if whole < 60:
        return f"{whole}{NO_BREAK}min"
    return f"{whole // 60}{NO_BREAK}h{NO_BREAK}{whole % 60:02d}{NO_BREAK}min"


OWNER = "owner"
"""As what somebody signs who needs no account, since nobody else comes in."""


def author_words(author: str) -> str:
    """Say who did something: by the name that somebody typed, or as the owner who needs no account."""
    return say("owner") if author == OWNER else author


def ago(then: datetime, now: datetime) -> str:
    """Write how long ago a moment lies: "just now", "25 min ago", "3 h ago", "2 days ago", "in 4 h"."""
    seconds = (now - then).total_seconds()
    size, later = abs(seconds), seconds < 0
    if size < 90:
        return say("just now")
    if size < 90 * 60:
        text = f"{round(size / 60)}{NO_BREAK}min"
    elif size < 48 * 3600:
        text = f"{round(size / 3600)}{NO_BREAK}h"
    else:
        text = say_count("{count}\N{NO-BREAK SPACE}day", "{count}\N{NO-BREAK SPACE}days", round(size / 86400))
    return say("in {time}" if later else "{time} ago", time=text)
