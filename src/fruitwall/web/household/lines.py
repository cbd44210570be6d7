"""One line for each thing of the household: what it is, and what tonight's plan takes of it."""

from __future__ import annotations

from pydantic import BaseModel

from fruitwall.plans.feeds import circuit_watts
from fruitwall.service.household import Household, decimal, minutes, percent, short_day
from fruitwall.service.in_use import Taken
from fruitwall.service.yard_words import FIELD_WORDS, choice_words
from fruitwall.speech import say, say_count, say_list
from fruitwall.yard.display import ShownKind, format_quantity
from fruitwall.yard.model import (
    WEEKDAYS,
    Circuit,
    Cover,
    Display,
    Ground,
    Heater,
    IndoorPlace,
    LampString,
    Lead,
    Location,
    Person,
    Prices,
    Shelter,
    Trolley,
    Yard,
)
from fruitwall.yard.shading import Paint, ShadeCloth
from fruitwall.yard.watering import Water


def summary_of(part: BaseModel, yard: Yard, household: Household) -> str:
    """Say in one line what a thing is.

    Parameters
    ----------
    part : BaseModel
        A thing of the household, or a group of fields.
    yard : Yard
        For the names of trees.
    household : Household
        Units of the reader.
    """
    return "; ".join(text for text in _facts(part, yard, household) if text)


def _facts(part: BaseModel, yard: Yard, household: Household) -> list[str]:
    if isinstance(part, Person):
        return _person(part, household)
    if isinstance(part, Cover):
        size = say("{width} by {length}", width=_long(part.width_m, household), length=_long(part.length_m, household))
        return [f"{part.count} × {size}", choice_words(part.material), say("on a frame") if part.on_frame else ""]
    if isinstance(part, Shelter):
        trees = {tree.id: tree.name for tree in yard.trees}
        water = _amount(part.water_l, "volume", household)
        return [
            say_list([trees.get(one, one) for one in part.trees]),
            say("sides of {sides}, top of {top}", sides=choice_words(part.sides), top=choice_words(part.top)),
            say("{water} of water in barrels", water=water) if part.water_l else "",
        ]
    if isinstance(part, Circuit):
        watts = f"{circuit_watts(part):.0f}"
        return [
            say(
                "{volts} V, {amps} A: {watts} W for the night",
                volts=decimal(f"{part.volts:g}"),
                amps=decimal(f"{part.amps:g}"),
                watts=watts,
            ),
            say("protected") if part.ground_fault else say("not known to be protected: nothing is planned on it"),
        ]
    if isinstance(part, LampString | Heater):
        facts = [f"{part.count} × {decimal(f'{part.watts:g}')} W"]
        if isinstance(part, LampString):
            return [*facts, choice_words(part.kind)]
        if part.thermostat_c is None:
            return [*facts, say("without thermostat")]
        return [*facts, say("thermostat at {temperature}", temperature=household.temperature(part.thermostat_c))]
    if isinstance(part, Lead):
        area = decimal(f"{part.conductor_mm2:.2g}")
        return [f"{part.count} × {_long(part.length_m, household)}", say("wires of {area} mm²", area=area)]
    if isinstance(part, Trolley):
        return [f"{part.count}", say("bears {mass}", mass=_amount(part.max_mass_kg, "mass", household))]
    if isinstance(part, ShadeCloth):
        size = say("{width} by {length}", width=_long(part.width_m, household), length=_long(part.length_m, household))
        keeps = say("keeps off {share} of the sun", share=percent(part.shade))
        return [f"{part.count} × {size}", keeps, say("on a frame") if part.on_frame else ""]
    if isinstance(part, Paint):
        return [_amount(part.volume_l, "volume", household)]
    if isinstance(part, IndoorPlace):
        return _indoors(part, household)
    return _group(part, household)


def _person(part: Person, household: Household) -> list[str]:
    lifts = say("does not lift")
    if part.lifts:
        lifts = say("lifts what the lifting equation allows")
        if part.max_lift_kg is not None:
            lifts = say("lifts up to {mass}", mass=_amount(part.max_lift_kg, "mass", household))
    days = [choice_words(day) for day in WEEKDAYS if day in part.evenings]
    here = "" if len(days) == len(WEEKDAYS) else say("here on {days}", days=say_list(days))
    return [
        say("{time} before dark", time=minutes(part.minutes_before_dusk)),
        lifts,
        "" if part.pushes_trolley else say("pushes no trolley"),
        say("goes up a ladder") if part.uses_ladder else "",
        here if days else say("here on no evening"),
        "" if part.away_until is None else say("away until {day}", day=short_day(part.away_until)),
    ]


def _indoors(part: IndoorPlace, household: Household) -> list[str]:
    warm = say("warmer than outside by {size}", size=household.difference(part.warmer_k))
    if part.kept_at_c is not None:
        warm = say("heated to at least {temperature}", temperature=household.temperature(part.kept_at_c))
    height = _long(part.max_height_m, household)
    return [say_count("{count} pot", "{count} pots", part.spaces), say("up to {height} high", height=height), warm]


def _group(part: BaseModel, household: Household) -> list[str]:
    if isinstance(part, Prices):
        currency = household.display.currency
        named = {"per_hour": part.per_hour, "per_lift": part.per_lift, "per_kwh": part.per_kwh}
        return [f"{say(FIELD_WORDS[name])}: {decimal(f'{one:.2f}')} {currency}" for name, one in named.items()]
    if isinstance(part, Location):
        height = _long(part.elevation_m, household)
        return [
            f"{part.latitude_deg:.3f}, {part.longitude_deg:.3f}",
            say("{height} above the sea", height=height),
            part.time_zone,
        ]
    if isinstance(part, Ground):
        return [
            choice_words(part.surface, "surface"),
            choice_words(part.soil, "soil"),
            choice_words(part.moisture, "moisture"),
        ]
    if isinstance(part, Water):
        salt, hose = part.conductivity_ds_m, part.hose_flow_l_min
        return [
            say("salt not known") if salt is None else say("salt: {salt} dS/m", salt=decimal(f"{salt:.2g}")),
            "" if hose is None else say("hose: {amount} a minute", amount=_amount(hose, "volume", household)),
        ]
    if isinstance(part, Display):
        return [
            *(choice_words(one) for one in (part.temperature, part.length, part.mass, part.volume)),
            part.currency,
        ]
    raise TypeError(type(part).__name__)


def _long(metres: float, household: Household) -> str:
    return _amount(metres, "length", household)


def _amount(value: float, kind: ShownKind, household: Household) -> str:
    return decimal(format_quantity(value, kind, household.display))


def taken_words(taken: Taken | None, part: BaseModel) -> str:
    """Say how much of a thing tonight's plan takes; empty where that is not known."""
    if taken is None:
        return ""
    if not taken.used:
        return say("Tonight: not used.")
    if isinstance(part, Shelter):
        return say("Tonight: closed.")
    used, of = (f"{one:.0f}" for one in (taken.used, taken.available))
    if taken.unit:
        return say("Tonight: {used} of {of} {unit}.", used=used, of=of, unit=taken.unit)
    return say("Tonight: {used} of {of} in use.", used=used, of=of)
