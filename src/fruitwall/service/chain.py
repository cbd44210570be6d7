"""The chain from the station's air to one tree's risk, link by link, for ``--explain`` and the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.plants.injury import first_injury_c
from fruitwall.service.evening_document import ReasonPart, Spread
from fruitwall.service.hours import TreeHours
from fruitwall.service.household import Household, percent, signed
from fruitwall.service.outlook import DEATH, HARM, Outlook, suffers_by_chill
from fruitwall.service.station import spread, station_nights
from fruitwall.service.words import TISSUE_WORDS
from fruitwall.speech import marked, quantity, say, say_amount, say_chain

if TYPE_CHECKING:
    from fruitwall.physics.explain import Explanation

SMALL_SHARE = 0.005
"""Parts of the surroundings below this are not worth a word."""


def chain_of(
    outlook: Outlook, at: int, chosen: int, tissue: str, hours: TreeHours, leaf: Explanation, household: Household
) -> list[ReasonPart]:
    """Give every link for one tree, in order."""
    return [
        *_air(outlook, at, hours, household),
        *_surroundings(outlook, at, hours, household),
        _heat(leaf),
        *_tissue(outlook, at, chosen, tissue, hours, household),
        *_risk(outlook, at, chosen, tissue, household),
    ]


def _range(values: Spread, household: Household) -> str:
    """Write the range of an ensemble."""
    return say("{temperatures} in four of five members", temperatures=household.temperatures(values.p10, values.p90))


def _air(outlook: Outlook, at: int, hours: TreeHours, household: Household) -> list[ReasonPart]:
    """From the station's minimum to the air at the crown."""
    situation = outlook.situation
    station = station_nights(situation.forcing, situation.evenings[:1])[0].minimum_c
    spot = situation.spots[at]
    offset = situation.yard.location.clear_night_offset_k
    notes = []
    if offset:
        notes.append(
            say(
                "on clear still nights the yard is {difference} warmer than the station"
                if offset > 0
                else "on clear still nights the yard is {difference} colder than the station",
                difference=household.difference(offset),
            )
        )
    if spot.colder_k > 0.05:
        notes.append(
            say("cold air gathers here: up to {difference} colder", difference=household.difference(spot.colder_k))
        )
    taught = spot.learned_k + spot.learned_clear_k
    if abs(taught) > 0.05:
        notes.append(
            say(
                "thermometers taught that it is {difference} warmer here on clear still nights"
                if taught > 0
                else "thermometers taught that it is {difference} colder here on clear still nights",
                difference=household.difference(taught),
            )
        )
    notes.append(say("crown at {length}", length=household.length(spot.height_m)))
    air = next(h.air_c for h in hours.hours if h.time == hours.coldest_at)
    return [
        ReasonPart(
            label=say("Station air, minimum"),
            value=say_amount(household.temperature(station.p50)),
            note=_range(station, household),
        ),
        ReasonPart(
            label=say("Air at the tree, {clock}", clock=household.clock(hours.coldest_at)),
            value=say_amount(household.temperature(air.p50)),
            note=say_chain(notes),
        ),
    ]


def _surroundings(outlook: Outlook, at: int, hours: TreeHours, household: Household) -> list[ReasonPart]:
    """Say what the crown sees and how warm that is."""
    spot = outlook.situation.spots[at]
    seen = {
        say("open sky"): spot.sky,
        say("roof"): spot.roof,
        say("walls and fences"): spot.wall,
        say("crowns and hills"): spot.canopy,
    }
    parts = [
        say("{what} {percent}", what=what, percent=percent(share))
        for what, share in seen.items()
        if share >= SMALL_SHARE
    ]
    shelter = say("wind here {percent} of the open yard's", percent=percent(spot.wind_share))
    return [
        ReasonPart(
            label=say("Looks up into"),
            value=say("{percent} sky", percent=percent(spot.sky)),
            note=say_chain(parts, ","),
        ),
        ReasonPart(
            label=say("What it sees above, as warm as"),
            value=say_amount(household.temperature(hours.at_coldest["sky"])),
            note=say("open sky, walls, roofs and crowns by their shares"),
        ),
        ReasonPart(
            label=say("Ground below it"),
            value=say_amount(household.temperature(hours.at_coldest["soil"])),
            note=shelter,
        ),
    ]


def _heat(found: Explanation) -> ReasonPart:
    """Say what a leaf of the tree, left alone, loses to the sky at its coldest and what keeps it warm."""
    gains = [(name, flux) for name, flux in found.fluxes_w_m2.items() if name != "sky" and abs(flux) >= SMALL_FLUX_W_M2]
    gains.sort(key=lambda gain: -gain[1])
    what = say_chain([say("{what} {flux}", what=say(FLUX_WORDS[name]), flux=_flux(flux)) for name, flux in gains], ",")
    return ReasonPart(
        label=say("A leaf trades with the sky"),
        value=f"{_flux(found.fluxes_w_m2['sky'])} W/m²",
        note=say("at its coldest, in the median member; {what}", what=what)
        if what
        else say("at its coldest, in the median member"),
    )


def _flux(w_m2: float) -> str:
    """Write a flux with its sign."""
    return signed(f"{w_m2:+.0f}")


SMALL_FLUX_W_M2 = 0.5

FLUX_WORDS = {
    "roof": marked("roof"),
    "walls": marked("walls"),
    "canopy": marked("crowns and hills"),
    "cover": marked("cover"),
    "ground": marked("ground"),
    "foliage": marked("its own leaves"),
    "air": marked("air"),
    "frost": marked("frost and dew"),
    "lamps": marked("lamps"),
    "sun": marked("sun"),
}


def _tissue(
    outlook: Outlook, at: int, chosen: int, tissue: str, hours: TreeHours, household: Household
) -> list[ReasonPart]:
    """Say how cold the most endangered tissue gets, left alone and under the measure."""
    alone = spread(outlook.coldest_c(at, 0, tissue))
    slow = tissue == "leaf" and suffers_by_chill(outlook.situation.tolerances[at])
    span = say("eight hours" if slow else "hour")
    hour = next(h for h in hours.hours if h.time == hours.coldest_at)
    below = hour.air_c.p50 - hour.tissue_if_nothing_c.p50
    words = say(TISSUE_WORDS[tissue])
    parts = [
        ReasonPart(
            label=say("{tissue}, coldest {span}, left alone", tissue=words[:1].upper() + words[1:], span=span),
            value=say_amount(household.temperature(alone.p50)),
            note=say(
                "at its coldest {difference} below the air; {range}"
                if below >= 0
                else "at its coldest {difference} above the air; {range}",
                difference=household.difference(below),
                range=_range(alone, household),
            ),
        )
    ]
    if chosen:
        under = spread(outlook.coldest_c(at, chosen, tissue))
        parts.append(
            ReasonPart(
                label=say("The same, {measure}", measure=outlook.situation.measures[at][chosen].name),
                value=say_amount(household.temperature(under.p50)),
                note=say(
                    "{difference} gained; {range}",
                    difference=household.difference(under.p50 - alone.p50),
                    range=_range(under, household),
                ),
            )
        )
    return parts


def _risk(outlook: Outlook, at: int, chosen: int, tissue: str, household: Household) -> list[ReasonPart]:
    """Say what the tree stands, from what, and what follows."""
    tolerance = outlook.situation.tolerances[at]
    p10, p50, p90 = first_injury_c(tolerance, tissue)
    slow = tissue == "leaf" and suffers_by_chill(tolerance)
    span = say("chilled for eight hours" if slow else "for one hour")
    currency = outlook.situation.yard.display.currency
    parts = [
        ReasonPart(
            label=say("Harm to {tissue} begins at", tissue=TISSUE_WORDS[tissue]),
            value=say_amount(household.temperature(p50)),
            note=say(
                "{span}; {temperatures} with four in five", span=span, temperatures=household.temperatures(p10, p90)
            ),
        )
    ]
    parts += [
        ReasonPart(label=say("because"), value="", note=household.in_own_units(line)) for line in tolerance.provenance
    ]
    fruit = outlook.situation.yard.trees[at].crop_worth > 0
    rows = [(say("left alone"), 0)] + ([(say("with the plan"), chosen)] if chosen else [])
    for name, row in rows:
        chances = outlook.chances[at][row, 0]
        death = percent(float(chances[DEATH:].sum()))
        parts.append(
            ReasonPart(
                label=say("Chance of harm, {name}", name=name),
                value=say_amount(percent(float(chances[HARM:].sum()))),
                note=say(
                    "of death {death}; expected loss tonight {loss} {currency}, fruit lost {fruit}"
                    if fruit
                    else "of death {death}; expected loss tonight {loss} {currency}",
                    death=death,
                    loss=quantity(outlook.losses[at][row, 0], ""),
                    currency=currency,
                    fruit=percent(float(outlook.fruit_lost[at][row, 0])),
                ),
            )
        )
    return parts
