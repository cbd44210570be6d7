"""How a lamp string or heater gets its power: circuits within reach and the leads that reach and carry the load."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fruitwall.plans.parts import Feed
from fruitwall.plans.power import circuit_capacity_w, lead_carries
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.walking import DETOUR
from fruitwall.speech import quantity, say
from fruitwall.yard.model import Circuit, Yard

UP_M = 1.0
"""Lead that hangs from the socket and rises to the crown. common practice, no source."""


@dataclass(frozen=True)
class Load:
    """What wants power, and where.

    Attributes
    ----------
    watts : float
        [W]
    heater : bool
        A portable heater: makers want it straight in the wall, and no lead thinner than 14 AWG.
    position : tuple of float
        [m, m]
    """

    watts: float
    heater: bool
    position: tuple[float, float]


def circuit_watts(circuit: Circuit) -> float:
    """Give what a circuit may carry all night. [W]"""
    return circuit_capacity_w(circuit.volts, circuit.amps, circuit.continuous_rule)


def feeds_for(yard: Yard, load: Load, times: SetUpTimes) -> tuple[Feed, ...]:
    """Give every circuit that can feed a load, nearest first, with the leads that would do, shortest first.

    Only circuits with ground-fault protection count. One lead at most: chains of leads are never planned.
    """
    found: list[tuple[float, Feed]] = []
    for circuit in yard.circuits:
        if not circuit.ground_fault or load.watts > circuit_watts(circuit):
            continue
        metres = lead_metres(circuit, load)
        if metres <= times.cord_m:
            found.append((metres, Feed(circuit.id)))
            continue
        leads = [
            lead
            for lead in yard.gear.leads
            if lead.length_m + times.cord_m >= metres
            and lead_carries(load.watts, circuit.volts, lead.length_m, lead.conductor_mm2, heater=load.heater)
        ]
        leads.sort(key=lambda lead: (lead.length_m, lead.conductor_mm2, lead.id))
        if leads:
            found.append((metres, Feed(circuit.id, tuple(lead.id for lead in leads))))
    return tuple(feed for _, feed in sorted(found, key=lambda pair: (pair[0], pair[1].circuit)))


def lead_metres(circuit: Circuit, load: Load) -> float:
    """Give the length of lead from a socket to a load, laid round things and up into the crown. [m]"""
    return DETOUR * math.dist(circuit.outlet, load.position) + UP_M


def why_no_power(yard: Yard, load: Load, times: SetUpTimes) -> str:
    """Say why nothing can feed a load."""
    if not yard.circuits:
        return say("there is no outdoor circuit")
    safe = [circuit for circuit in yard.circuits if circuit.ground_fault]
    if not safe:
        return say("no outdoor circuit has ground-fault protection")
    strong = [circuit for circuit in safe if load.watts <= circuit_watts(circuit)]
    if not strong:
        most = max(circuit_watts(circuit) for circuit in safe)
        return say(
            "it takes {watts} W, and no circuit may carry more than {most} W all night",
            watts=quantity(load.watts, "", ".0f"),
            most=quantity(most, "", ".0f"),
        )
    nearest = min(strong, key=lambda circuit: lead_metres(circuit, load))
    need = lead_metres(nearest, load) - times.cord_m
    return say(
        "no lead, thick enough for a heater, reaches it: {need} from {nearest}"
        if load.heater
        else "no lead reaches it: {need} from {nearest}",
        need=quantity(need, "m", ".0f"),
        nearest=nearest.name,
    )
