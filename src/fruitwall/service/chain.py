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
    return f"{household.temperatures(values.p10, values.p90)} in four of five members"


def _air(outlook: Outlook, at: int, hours: TreeHours, household: Household) -> list[ReasonPart]:
    """From the station's minimum to the air at the crown."""
    situation = outlook.situation
    station = station_nights(situation.forcing, situation.evenings[:1])[0].minimum_c
    spot = situation.spots[at]
    offset = situation.yard.location.clear_night_offset_k
    notes = []
    if offset:
        side = "warmer" if offset > 0 else "colder"
        notes.append(f"on clear still nights the yard is {household.difference(offset)} {side} than the station")
    if spot.colder_k > 0.05:
        notes.append(f"cold air gathers here: up to {household.difference(spot.colder_k)} colder")
    notes.append(f"crown at {household.length(spot.height_m)}")
    air = next(h.air_c for h in hours.hours if h.time == hours.coldest_at)
    return [
        ReasonPart(
            label="Station air, minimum", value=household.temperature(station.p50), note=_range(station, household)
        ),
        ReasonPart(
            label=f"Air at the tree, {household.clock(hours.coldest_at)}",
            value=household.temperature(air.p50),
            note="; ".join(notes),
        ),
    ]


def _surroundings(outlook: Outlook, at: int, hours: TreeHours, household: Household) -> list[ReasonPart]:
    """Say what the crown sees and how warm that is."""
    spot = outlook.situation.spots[at]
    seen = {"open sky": spot.sky, "roof": spot.roof, "walls and fences": spot.wall, "crowns and hills": spot.canopy}
    text = ", ".join(f"{name} {percent(share)}" for name, share in seen.items() if share >= SMALL_SHARE)
    shelter = f"wind here {percent(spot.wind_share)} of the open yard's"
    return [
        ReasonPart(label="Looks up into", value=percent(spot.sky) + " sky", note=text),
        ReasonPart(
            label="What it sees above, as warm as",
            value=household.temperature(hours.at_coldest["sky"]),
            note="open sky, walls, roofs and crowns by their shares",
        ),
        ReasonPart(label="Ground below it", value=household.temperature(hours.at_coldest["soil"]), note=shelter),
    ]


def _heat(found: Explanation) -> ReasonPart:
    """Say what a leaf of the tree, left alone, loses to the sky at its coldest and what keeps it warm."""
    gains = [(name, flux) for name, flux in found.fluxes_w_m2.items() if name != "sky" and abs(flux) >= SMALL_FLUX_W_M2]
    gains.sort(key=lambda gain: -gain[1])
    what = ", ".join(f"{FLUX_WORDS[name]} {_flux(flux)}" for name, flux in gains)
    return ReasonPart(
        label="A leaf trades with the sky",
        value=f"{_flux(found.fluxes_w_m2['sky'])} W/m²",
        note=f"at its coldest, in the median member; {what}" if what else "at its coldest, in the median member",
    )


def _flux(w_m2: float) -> str:
    """Write a flux with its sign."""
    return signed(f"{w_m2:+.0f}")


SMALL_FLUX_W_M2 = 0.5

FLUX_WORDS = {
    "roof": "roof",
    "walls": "walls",
    "canopy": "crowns and hills",
    "cover": "cover",
    "ground": "ground",
    "foliage": "its own leaves",
    "air": "air",
    "frost": "frost and dew",
    "lamps": "lamps",
    "sun": "sun",
}


def _tissue(
    outlook: Outlook, at: int, chosen: int, tissue: str, hours: TreeHours, household: Household
) -> list[ReasonPart]:
    """Say how cold the most endangered tissue gets, left alone and under the measure."""
    alone = spread(outlook.coldest_c(at, 0, tissue))
    slow = tissue == "leaf" and suffers_by_chill(outlook.situation.tolerances[at])
    span = "eight hours" if slow else "hour"
    hour = next(h for h in hours.hours if h.time == hours.coldest_at)
    below = hour.air_c.p50 - hour.tissue_if_nothing_c.p50
    side = "below" if below >= 0 else "above"
    words = TISSUE_WORDS[tissue]
    parts = [
        ReasonPart(
            label=f"{words.capitalize()}, coldest {span}, left alone",
            value=household.temperature(alone.p50),
            note=f"at its coldest {household.difference(below)} {side} the air; {_range(alone, household)}",
        )
    ]
    if chosen:
        under = spread(outlook.coldest_c(at, chosen, tissue))
        parts.append(
            ReasonPart(
                label=f"The same, {outlook.situation.measures[at][chosen].name}",
                value=household.temperature(under.p50),
                note=f"{household.difference(under.p50 - alone.p50)} gained; {_range(under, household)}",
            )
        )
    return parts


def _risk(outlook: Outlook, at: int, chosen: int, tissue: str, household: Household) -> list[ReasonPart]:
    """Say what the tree stands, from what, and what follows."""
    tolerance = outlook.situation.tolerances[at]
    p10, p50, p90 = first_injury_c(tolerance, tissue)
    slow = tissue == "leaf" and suffers_by_chill(tolerance)
    span = "chilled for eight hours" if slow else "for one hour"
    currency = outlook.situation.yard.display.currency
    parts = [
        ReasonPart(
            label=f"Harm to {TISSUE_WORDS[tissue]} begins at",
            value=household.temperature(p50),
            note=f"{span}; {household.temperatures(p10, p90)} with four in five",
        )
    ]
    parts += [
        ReasonPart(label="  because", value="", note=household.in_own_units(line)) for line in tolerance.provenance
    ]
    fruit = outlook.situation.yard.trees[at].crop_worth > 0
    rows = [("left alone", 0)] + ([("with the plan", chosen)] if chosen else [])
    for name, row in rows:
        chances = outlook.chances[at][row, 0]
        death = percent(float(chances[DEATH:].sum()))
        parts.append(
            ReasonPart(
                label=f"Chance of harm, {name}",
                value=percent(float(chances[HARM:].sum())),
                note=f"of death {death}; expected loss tonight {outlook.losses[at][row, 0]:.0f} {currency}"
                + (f", fruit lost {percent(float(outlook.fruit_lost[at][row, 0]))}" if fruit else ""),
            )
        )
    return parts
