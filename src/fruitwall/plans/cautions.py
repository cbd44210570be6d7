"""What to heed when the plan is carried out: short cautions in plain words, each with where it comes from.

They stand beside a task, not instead of the instructions on the gear or of a trained person's judgement. Keys in
brackets of the texts' sources are listed in `docs/planner.md`; "from memory" and "common practice, no source" are said
where true.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fruitwall.plans.covering import FILMS
from fruitwall.plans.problem import PlannedTask
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Yard


@dataclass(frozen=True)
class Caution:
    """One thing to heed.

    Attributes
    ----------
    key : str
        Short name.
    text : str
        In plain words, for whoever does it.
    source : str
        Who says so.
    per_task : bool
        Belongs beside the task; otherwise it is said once for the whole evening.
    """

    key: str
    text: str
    source: str
    per_task: bool = True


Applies = Callable[[Yard, PlannedTask], bool]


def _electric(yard: Yard, task: PlannedTask) -> bool:
    return task.part.watts > 0


def _heater(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "heater"


def _lamps(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "lamps"


def _heater_on_lead(yard: Yard, task: PlannedTask) -> bool:
    return _heater(yard, task) and task.lead is not None


def _on_lead(yard: Yard, task: PlannedTask) -> bool:
    return task.lead is not None


def _lifted(yard: Yard, task: PlannedTask) -> bool:
    return task.way.lifts > 0


def _moved(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind in ("carry", "roof", "wall") and not task.idle


def _rolled(yard: Yard, task: PlannedTask) -> bool:
    return task.way.trolley is not None


def _ladder(yard: Yard, task: PlannedTask) -> bool:
    return task.way.ladder


def _film(yard: Yard, task: PlannedTask) -> bool:
    part = task.part
    if part.kind == "cover":
        return any(cover.id == task.sheet and cover.material in FILMS for cover in yard.gear.covers)
    if part.kind == "close":
        return any(
            f"close:{shelter.id}" == part.key and (shelter.top in FILMS or shelter.sides in FILMS)
            for shelter in yard.shelters
        )
    return False


def _draped(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "cover" and any(c.id == task.sheet and not c.on_frame for c in yard.gear.covers)


def _wet(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "wet"


def _indoors(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "carry"


def _anything(yard: Yard, task: PlannedTask) -> bool:
    return not task.idle


_RULES: tuple[tuple[Applies, Caution], ...] = (
    (
        _electric,
        Caution(
            "ground_fault",
            marked(
                "Only on a socket with ground-fault protection (GFCI about 6 mA, RCD 30 mA), tested before "
                "the evening; "
                "lamps, leads and joints made for outdoors, off the ground and out of the wet."
            ),
            "ground-fault notes; RoSPA Northern Ireland (30 mA from memory)",
        ),
    ),
    (
        _on_lead,
        Caution(
            "leads",
            marked(
                "Unroll every lead completely, one load to a lead, no chains of leads; none across a path or under a "
                "door. If a plug is warm or the protection trips again: off, unplugged, and left off."
            ),
            "Electrical Safety First; RoSPA Northern Ireland",
        ),
    ),
    (
        _heater,
        Caution(
            "heater",
            marked(
                "Keep 0.9 m (3 ft) free on all sides of the heater, measured to where wind can blow the cover; level "
                "ground, tip-over switch and thermostat working. Advice is never to leave a heater alone or asleep "
                "beside it: somebody stays up for it, or use lamps, water or cloth instead."
            ),
            "fire departments' and ESFI tips",
        ),
    ),
    (
        _heater_on_lead,
        Caution(
            "heater_lead",
            marked(
                "Makers want a heater plugged straight into the wall. On a lead it must be short, 14 or 12 "
                "AWG (2.5 mm² "
                "or more), uncovered and cool to the hand; ask the maker first."
            ),
            "fire departments' tips; heater safety sheet",
        ),
    ),
    (
        _heater,
        Caution(
            "no_fuel",
            marked(
                "Never replace it by a gas or charcoal burner under a cover: carbon monoxide has no smell, "
                "and cloth that "
                "breathes does not save anybody."
            ),
            "heater makers; charcoal from memory",
        ),
    ),
    (
        _lamps,
        Caution(
            "lamps",
            marked(
                "Fix the lamps so that glass touches neither leaf nor cloth nor film, also when the wind "
                "moves them; no "
                "dry leaves or straw below. Read the watts on the label."
            ),
            "Colorado State University GardenNotes 722; Electrical Safety First",
        ),
    ),
    (
        _wet,
        Caution(
            "water_and_power",
            marked("No water where lamps or leads are plugged in. What runs onto paths freezes: grit it or stay off."),
            "safety leaflets; the path is common practice, no source",
        ),
    ),
    (
        _lifted,
        Caution(
            "lifting",
            marked(
                "The lifting limit is meant for a warm, dry, level place and a steady load; cold, wet "
                "grass, gloves and "
                "a freshly watered pot make it the most that could be right. Step in close, turn with the feet, set it "
                "down every 10 m. Lift less, or not at all, if your back or doctor says so."
            ),
            "NIOSH 94-110; HSE INDG143",
        ),
    ),
    (
        _rolled,
        Caution(
            "trolley",
            marked(
                "Push rather than pull where you can see over the load. Get help on a slope, and never stand below a "
                "loaded trolley."
            ),
            "HSE INDG143; the last words are common practice, no source",
        ),
    ),
    (
        _moved,
        Caution(
            "path",
            marked("Clear and light the path first; wet leaves and frost make it slippery."),
            "common practice, no source",
        ),
    ),
    (
        _indoors,
        Caution(
            "indoors",
            marked("Not beside a radiator: warm and dark indoors takes hardiness and drops leaves."),
            "from memory",
        ),
    ),
    (
        _ladder,
        Caution(
            "ladder",
            marked(
                "One out for four up, tied or held, three points of contact: pull the sheet over with a "
                "line or a pole, "
                "not with an armful of cloth. No ladder on frost, ice or soft ground, in wind, or of metal near wires."
            ),
            "OSHA guidance as reproduced by trade sites; the pole is common practice, no source",
        ),
    ),
    (
        _film,
        Caution(
            "film",
            marked("Film must be open before the morning sun is on it: closed, it cooks the tree even on a cool day."),
            "Colorado State University GardenNotes 722",
        ),
    ),
    (
        _draped,
        Caution(
            "touching",
            marked(
                "Where cloth touches leaves they freeze with it, wet cloth more so: keep it off with stakes where you "
                "can, and dry."
            ),
            "Colorado State University GardenNotes 722",
        ),
    ),
    (
        _anything,
        Caution(
            "cold_hands",
            marked(
                "Tie knots and plug in before the cold, or with warm hands; wear a head torch and tell "
                "somebody when you "
                "start and when you are done."
            ),
            "cold-stress summaries; the torch is common practice, no source",
            per_task=False,
        ),
    ),
    (
        _anything,
        Caution(
            "what_prevails",
            marked(
                "Instructions on the gear, local electrical, fire and building codes and the work of licensed people "
                "prevail over this plan."
            ),
            "this project",
            per_task=False,
        ),
    ),
)


def _shade_cloth(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "shade" and not task.idle


def _shade_draped(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "shade" and any(its.id == task.sheet and not its.on_frame for its in yard.gear.shades)


def _painted(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "whitewash" and not task.idle


def _into_shade(yard: Yard, task: PlannedTask) -> bool:
    return task.part.kind == "into_shade" and not task.idle


_HEAT_RULES: tuple[tuple[Applies, Caution], ...] = (
    (
        _ladder,
        Caution(
            "ladder_heat",
            marked(
                "One out for four up, tied or held, three points of contact, on firm ground: pull the cloth over with "
                "a line or a pole, not with an armful of cloth. No ladder in wind, in the heat of the day, or of metal "
                "near wires."
            ),
            "OSHA guidance as reproduced by trade sites; the pole and the heat are common practice, no source",
        ),
    ),
    (
        _lifted,
        Caution(
            "lifting_heat",
            marked(
                "The lifting limit is meant for a cool, dry, level place and a steady load; heat and a freshly watered "
                "pot make it the most that could be right. Step in close, turn with the feet, set it down every 10 m. "
                "Lift less, or not at all, if your back or doctor says so."
            ),
            "NIOSH 94-110; HSE INDG143",
        ),
    ),
    (
        _rolled,
        Caution(
            "trolley",
            marked(
                "Push rather than pull where you can see over the load. Get help on a slope, and never stand below a "
                "loaded trolley."
            ),
            "HSE INDG143; the last words are common practice, no source",
        ),
    ),
    (
        _shade_cloth,
        Caution(
            "shade_wind",
            marked(
                "Wind lifts shade cloth like a sail: tie every corner to something that stands firm, and take it down "
                "before a storm. On a frame pull it tight, so that it does not touch leaves when it moves."
            ),
            "common practice, no source",
        ),
    ),
    (
        _shade_draped,
        Caution(
            "shade_touching",
            marked(
                "Cloth that lies on leaves rubs them, and they are hot where they touch it: hold it off with stakes "
                "where you can, and leave it open below so that air moves."
            ),
            "common practice, no source",
        ),
    ),
    (
        _painted,
        Caution(
            "whitewash",
            marked(
                "Only water-based white paint, thinned so that it is still white when dry; no oil paint, no solvents. "
                "Quicklime burns eyes and skin: if you use lime, wear goggles and gloves and follow its label."
            ),
            "faber_afterfreeze, cac_postfreeze (white latex paint, thinned); the lime is common practice, no source",
        ),
    ),
    (
        _into_shade,
        Caution(
            "back_to_sun",
            marked(
                "Bring it back to the sun little by little over a week, or on a cloudy day: leaves and fruit that grew "
                "used to shade burn sooner."
            ),
            "wtfrc2002 (apples not used to the sun burn 2 to 7 °F sooner); the steps are common practice, no source",
        ),
    ),
    (
        _anything,
        Caution(
            "heat_on_people",
            marked(
                "In heat work in the early morning or the evening, in the shade, with a hat, and drink before you are "
                "thirsty. Dizzy, sick or a headache: stop, shade, water. Confused or fainting: call the emergency "
                "number, cool the person."
            ),
            "heat-stress leaflets of occupational health services, from memory",
            per_task=False,
        ),
    ),
    (
        _anything,
        Caution(
            "water_rules",
            marked("Local rules on watering, instructions on the gear and the advice of licensed people prevail."),
            "this project",
            per_task=False,
        ),
    ),
)


def caution_texts(*keys: str) -> list[str]:
    """Give what some cautions say, in the language in force and in the order of the keys.

    Raises
    ------
    KeyError
        If there is no such caution.
    """
    texts = {caution.key: caution.text for _, caution in (*_RULES, *_HEAT_RULES)}
    return [say(texts[key]) for key in keys]


def cautions_for(yard: Yard, tasks: Sequence[PlannedTask]) -> list[Caution]:
    """Give the cautions that apply to what is planned.

    Parameters
    ----------
    yard : Yard
        Where it is done.
    tasks : sequence of PlannedTask
        What is done.

    Returns
    -------
    list of Caution
        Each once, the gravest kinds first; none if nothing is done.
    """
    return [caution for applies, caution in _RULES if any(applies(yard, task) for task in tasks)]


def heat_cautions_for(yard: Yard, tasks: Sequence[PlannedTask]) -> list[Caution]:
    """Give the cautions that apply to what is planned against heat, as `cautions_for` does for an evening."""
    return [caution for applies, caution in _HEAT_RULES if any(applies(yard, task) for task in tasks)]


FROST_NEAR_C = 2.0
"""Air temperature below which wet leaves are warned of: the leaf itself is then near freezing. Our judgement. [°C]"""

DRY_DROP_K = 1.0
"""A wet leaf that stands less than this below the air is no news on a night without watering. Our judgement. [K]"""

STIRRING_M_S = 1.0
"""Wind at 10 m from which air moves enough past a leaf to dry it. Our judgement. [m/s]"""


def wet_leaf_cautions(*, t_air_c: float, drop_k: float, wind_m_s: float, watering: bool) -> list[Caution]:
    """Give the cautions about wet leaves and sprinkling.

    Parameters
    ----------
    t_air_c : float
        Air at the station when the wet bulb is lowest. [°C]
    drop_k : float
        How far a wet leaf would then stand below the air (`physics.icing.wet_foliage_drop_k`). [K]
    wind_m_s : float
        Wind then, at 10 m. [m/s]
    watering : bool
        Whether tonight's plan has ground watered.

    Returns
    -------
    list of Caution
        None on mild, moist or calm nights on which nobody waters.
    """
    dry_wind = t_air_c < FROST_NEAR_C and wind_m_s >= STIRRING_M_S and drop_k >= DRY_DROP_K
    if not (watering or dry_wind):
        return []
    first = say("Water the ground only and keep the leaves dry" if watering else "Keep the leaves dry tonight")
    wet_bulb_c = t_air_c - drop_k
    found = [
        Caution(
            "dry_leaves",
            say(
                "{first}: in moving air a wet leaf would stand {drop_k} below the air (wet bulb {wet_bulb_c}).",
                first=first,
                drop_k=quantity(drop_k, "K", ".1f"),
                wet_bulb_c=quantity(wet_bulb_c, "°C", ".1f"),
            ),
            "FAO 2005, vol. 1, p. 168 (evaporation from wet plants); psychrometer equation",
            per_task=False,
        )
    ]
    if wet_bulb_c < 0.0:
        found.append(
            Caution(
                "no_sprinkling",
                marked(
                    "No sprinkling for ice: fruitwall does not plan it. Once begun it must run without pause until the "
                    "ice melts by itself and the wet bulb is above 0 °C; stopped or too thin, it leaves a tree colder "
                    "than a dry one. Ice breaks limbs and makes paths slippery."
                ),
                # Start and stop at the wet bulb: Harrison, Gerber and Choate, Circular 348, as quoted; without
                # pause: Parsons 1995. Both as in `physics.icing`. Limbs and paths: common practice, no source.
                "UF/IFAS HS-76; UF/IFAS Circular 348 as quoted; limbs and paths are common practice, no source",
                per_task=False,
            )
        )
    return found
