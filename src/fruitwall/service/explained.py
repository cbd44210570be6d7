"""Why a tree gets as cold as it does, in kelvin: the parts as the document holds them, and as rows for eyes.

Terminal and page show the same rows: rounding is done here, once, so that what is read adds up on paper too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.service.evening_document import ColdExplained, ColdPart
from fruitwall.service.household import Household, percent
from fruitwall.service.station import spread
from fruitwall.service.words import TISSUE_WORDS, sentence
from fruitwall.speech import marked, say, say_list

if TYPE_CHECKING:
    from fruitwall.physics.contributions import Chain
    from fruitwall.physics.explain import Explanation
    from fruitwall.service.outlook import Outlook

SMALL_K = 0.05
"""Parts that stay below this in the middle, and below twice this in nine of ten members, are told together. [K]"""

REST = "rest"
"""Key of the part that gathers the small ones."""

GROUND_WORDS = {"bare": marked("Bare ground"), "turf": marked("Turf"), "mulch": marked("Mulch")}

DURATION_WORDS = {
    0.5: marked("half hour"),
    1.0: marked("hour"),
    2.0: marked("two hours"),
    4.0: marked("four hours"),
    8.0: marked("eight hours"),
}

SOIL_HEAT = {
    ("sand", "dry"): marked("heat of dry sand"),
    ("sand", "moist"): marked("heat of moist sand"),
    ("sand", "wet"): marked("heat of wet sand"),
    ("loam", "dry"): marked("heat of dry loam"),
    ("loam", "moist"): marked("heat of moist loam"),
    ("loam", "wet"): marked("heat of wet loam"),
    ("clay", "dry"): marked("heat of dry clay"),
    ("clay", "moist"): marked("heat of moist clay"),
    ("clay", "wet"): marked("heat of wet clay"),
}
"""What soil and moisture give; whole, since other languages bend the one by the other."""

STATION_HEIGHT_M = 2.0
"""At which weather services hang their thermometers."""


def explain_cold(
    outlook: Outlook, chosen: Sequence[int], household: Household, *, threads: int = 2
) -> list[ColdExplained | None]:
    """Take tonight's cold of every tree apart, under what is done for it.

    Parameters
    ----------
    outlook : Outlook
    chosen : sequence of int
        Per tree, the row of its treatment.
    household : Household
    threads : int

    Returns
    -------
    list of ColdExplained or None
        One per tree; None where the tree has no such tissue.
    """
    from fruitwall.physics.contributions import contributions
    from fruitwall.service.since import batches, nights_of_trees

    situation = outlook.situation
    evening = situation.evenings[0]
    trees = range(len(situation.spots))
    tissues = [outlook.endangered_tissue(at) for at in trees]
    durations = [DURATIONS_H[outlook.duration(at, tissue)] for at, tissue in zip(trees, tissues, strict=True)]
    chains: dict[int, Chain] = {}
    for night, some in batches(nights_of_trees(situation, chosen), len(situation.spots)):
        found = contributions(
            situation.forcing.select(situation.forcing.start_utc, evening.end_hour),
            [situation.spots[at] for at in some],
            [situation.bodies[at] for at in some],
            [situation.treatments[at][chosen[at]] for at in some],
            night,
            tissues=[tissues[at] for at in some],
            durations_h=[durations[at] for at in some],
            threads=threads,
            faces=situation.faces,
            soil=situation.yard.ground.soil,
            moisture=situation.yard.ground.moisture,
            clear_night_offset_k=situation.yard.location.clear_night_offset_k,
        )
        chains.update(zip(some, found, strict=True))
    return [
        _explained(chain, _words(outlook, at, chosen[at], tissues[at], household), tissues[at], durations[at])
        if np.isfinite(chain.after_c).all()
        else None
        for at, chain in sorted(chains.items())
    ]


def explain_fluxes(outlook: Outlook) -> list[Explanation]:
    """Give what the leaves of every tree, left alone, gain and lose at their coldest, in the median member."""
    from fruitwall.physics.explain import explain_trees

    situation = outlook.situation
    return explain_trees(
        outlook.usual_night,
        situation.spots,
        situation.bodies,
        [treatments[0] for treatments in situation.treatments],
        situation.evenings[0].night,
        faces=situation.faces,
        soil=situation.yard.ground.soil,
        moisture=situation.yard.ground.moisture,
        clear_night_offset_k=situation.yard.location.clear_night_offset_k,
    )


def _explained(chain: Chain, words: dict[str, tuple[str, str]], tissue: str, hours: float) -> ColdExplained:
    """Write a chain down, small parts of the surroundings gathered in one."""
    from fruitwall.physics.contributions import TREATMENT_PARTS

    start, after = chain.middle()
    middle = np.diff([start, *after])
    members = dict(zip(chain.keys, chain.parts_k, strict=True))
    told: dict[str, tuple[float, NDArray[np.float64]]] = {}
    rest_k, rest = 0.0, np.zeros_like(chain.start_c)
    done: dict[str, tuple[float, NDArray[np.float64]]] = {}
    for key, kelvin in zip(chain.keys, middle, strict=True):
        if key in TREATMENT_PARTS:
            done[key] = float(kelvin), members[key]
        elif key != "sky" and abs(kelvin) < SMALL_K and np.percentile(np.abs(members[key]), 90) < 2 * SMALL_K:
            rest_k, rest = rest_k + float(kelvin), rest + members[key]
        else:
            told[key] = float(kelvin), members[key]
    if rest_k != 0.0:
        told[REST] = rest_k, rest
    parts = [_part(key, kelvin, by_member, words[key]) for key, (kelvin, by_member) in told.items()]
    alone = start + sum(part.kelvin for part in parts)
    parts += [_part(key, kelvin, by_member, words[key]) for key, (kelvin, by_member) in done.items()]
    return ColdExplained(
        tissue=tissue,
        hours=hours,
        station_c=start,
        parts=parts,
        alone_c=alone,
        end_c=float(after[-1]),
    )


def _part(key: str, kelvin: float, by_member: NDArray[np.float64], words: tuple[str, str]) -> ColdPart:
    """Write one part down."""
    several = spread(by_member)
    return ColdPart(key=key, label=words[0], kelvin=kelvin, p10_k=several.p10, p90_k=several.p90, note=words[1])


def _words(outlook: Outlook, at: int, chosen: int, tissue: str, household: Household) -> dict[str, tuple[str, str]]:
    """Give label and note of every part for one tree."""
    spot, yard = outlook.situation.spots[at], outlook.situation.yard
    measure = outlook.situation.measures[at][chosen]
    ground = yard.ground
    paved = [name for name, share in ((say("paving"), spot.paving_share), (say("water"), spot.pond_share)) if share > 0]
    seen = min(1.0, spot.paving_share + spot.pond_share)
    tissues = sentence(say(TISSUE_WORDS[tissue]))
    if tissue == "root":
        sky = (
            say("{tissues} in the open", tissues=tissues),
            say("what they still hold of the warmth of the days before"),
        )
    else:
        sky = (say("{tissues} under the open sky", tissues=tissues), say("over ground that would give no heat"))
    clear = say("as far as the night is clear and still")
    return {
        "offset": (say("Clear-night offset of the yard"), clear),
        "hollow": (say("Cold air that gathers here"), clear),
        "height": (
            say("Crown at {length}", length=household.length(spot.height_m)),
            say(
                "the thermometer hangs at {height}, and cold air lies low",
                height=household.length(STATION_HEIGHT_M),
            ),
        ),
        "learned": (
            say("What thermometers taught"),
            say("readings here against what was worked out for the same nights"),
        ),
        "sky": sky,
        "wind": (
            say("Shelter from the wind"),
            say("wind here {percent} of the open yard's, which brings less warmth", percent=percent(spot.wind_share)),
        ),
        "canopy": (say("Crowns and hills"), say("hide {percent} of the sky", percent=percent(spot.canopy))),
        "roof": (say("Roof overhead"), say("hide {percent} of the sky", percent=percent(spot.roof))),
        "walls": (say("Walls and fences"), say("hide {percent} of the sky", percent=percent(spot.wall))),
        "wall_warmth": (say("Warmth that walls keep"), say("sun of the days before, or a heated house")),
        "ground": (
            say("{ground} below", ground=GROUND_WORDS[spot.ground]),
            say(SOIL_HEAT[ground.soil, ground.moisture]),
        ),
        "paving": (
            say("{ground} below", ground=sentence(say_list(paved))),
            say("{percent} of the ground it sees", percent=percent(seen)),
        ),
        "shade": (say("Sun kept off by day"), say("ground in the shade stores less")),
        REST: (say("Everything else"), say("too small to tell apart")),
        "place": (say("Its place for tonight"), measure.name),
        "watering": (say("Watered ground"), say("conducts and stores more heat")),
        "cover": (say("Cover" if measure.shelter is None else "Shelter closed"), measure.name),
        "barrels": (say("Barrels of water"), say("stand warm from the day")),
        "lamps": (say("Lamps"), ""),
        "heater": (say("Heater"), ""),
        "room": (say("Indoors"), measure.name),
    }


@dataclass(frozen=True)
class ColdRow:
    """One line of the explanation as shown.

    Attributes
    ----------
    kind : {"start", "part", "total"}
    label : str
    change : str
        What the part adds, in degrees of the household, with sign; empty for start and totals.
    value : str
        The temperature that comes of it, without unit.
    span : str
        Range of the change over four of five members; empty where it is the same in all, or for start and totals.
    note : str
    """

    kind: Literal["start", "part", "total"]
    label: str
    change: str
    value: str
    span: str
    note: str


def cold_title(explained: ColdExplained, household: Household) -> str:
    """Say what the rows are of: tissue, duration and unit."""
    return say(
        "How the coldest {span} of its {value} comes about ({degree})",
        span=say(DURATION_WORDS[explained.hours]),
        value=say(TISSUE_WORDS[explained.tissue]),
        degree=household.degree,
    )


def cold_rows(explained: ColdExplained, household: Household) -> list[ColdRow]:
    """Lay an explanation out in the household's degrees, so that the rounded parts add up to the rounded whole.

    Parameters
    ----------
    explained : ColdExplained
    household : Household

    Returns
    -------
    list of ColdRow
        The station's air, every part with the temperature that comes of it, and the tissue: left alone, and under
        what is done for it.

    Notes
    -----
    Temperatures are rounded to tenths and a part is shown as the difference of two of them: it may be a tenth off its
    own rounded value, but the column adds up.
    """
    from fruitwall.physics.contributions import TREATMENT_PARTS

    what = sentence(say(TISSUE_WORDS[explained.tissue]))
    done = [part for part in explained.parts if part.key in TREATMENT_PARTS]
    alone = [part for part in explained.parts if part.key not in TREATMENT_PARTS]
    now_c = explained.station_c
    rows = [
        ColdRow(
            "start",
            say("Station air"),
            "",
            household.tenths(now_c),
            "",
            say("its coldest {value}", value=say(DURATION_WORDS[explained.hours])),
        )
    ]
    for group, total in (
        (alone, say("{what}, left alone", what=what)),
        (done, say("{what}, with the plan", what=what)),
    ):
        for part in group:
            before, now_c = now_c, now_c + part.kelvin
            change = household.change(before, now_c)
            if part.key == REST and not change.strip("+\N{MINUS SIGN}0.,"):
                continue
            rows.append(ColdRow("part", part.label, change, household.tenths(now_c), _span(part, household), part.note))
        if group:
            rows.append(ColdRow("total", total, "", household.tenths(now_c), "", ""))
    return rows


def _span(part: ColdPart, household: Household) -> str:
    """Write a part's range over the members, where they differ."""
    low, high = (household.change(0.0, kelvin) for kelvin in (part.p10_k, part.p90_k))
    return say("{low} to {high}", low=low, high=high) if low != high else ""
