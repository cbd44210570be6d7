"""A rich evening to look at: the demo yard and an invented plan for a cold night in it.

Only a builder for tests of the pages: its numbers are plausible, but they come from a smooth curve and a normal
distribution and not from the product's physics. Whole fields can be replaced through keyword arguments.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from importlib.resources import files
from math import erf, sqrt

from fruitwall.service.evening_document import (
    AtRisk,
    ColdExplained,
    ColdPart,
    EveningPlan,
    ForecastSummary,
    GradeChances,
    HourOfTree,
    Limit,
    ReasonPart,
    Solver,
    Spread,
    Task,
    TreePlan,
    WayOut,
)
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display, Tree, Yard

NIGHT = date(2026, 12, 22)
SUNSET = datetime(2026, 12, 23, 0, 44, tzinfo=UTC)
SUNRISE = datetime(2026, 12, 23, 14, 52, tzinfo=UTC)
NOW = datetime(2026, 12, 22, 22, 0, tzinfo=UTC)
CELSIUS = Display(temperature="C", length="m", currency="USD")
FAHRENHEIT = Display(temperature="F", length="ft", mass="lb", volume="gal", currency="USD")
SD_K = 1.0


@dataclass(frozen=True)
class Fate:
    """What one tree stands and how cold it gets, alone and with the plan. [°C]"""

    stands_c: float
    alone_c: float
    planned_c: float
    measure: str = "leave"
    name: str = "leave as it is"
    tissue: str = "leaf"


SMALL = ("cover:fleece_medium", "cover with a small fleece")
LARGE = ("cover:fleece_heavy", "cover with a large fleece")
SHEETS = ("cover:bed_sheet", "cover with old bed sheets")
HOOPS = ("shelter:hoops", "close the hoop frame")
SHED = ("carry:shed-floor", "carry into the shed")

FATES: Mapping[str, Fate] = {
    "lychee-mauritius": Fate(-1.6, -2.9, -0.2, *SMALL),
    "mango-seedling": Fate(-1.8, -2.8, -1.0, *LARGE),
    "banana-corner": Fate(-0.9, -2.2, -2.2),
    "avocado-old": Fate(-3.2, -3.0, -3.0, tissue="fruit"),
    "avocado-mexicola": Fate(-3.0, -3.9, -1.4, *SMALL),
    "lemon-old": Fate(-3.0, -3.4, -3.4, tissue="fruit"),
    "white-sapote": Fate(-4.4, -3.5, -3.5),
    "jaboticaba": Fate(-3.2, -2.1, -2.1),
    "cherimoya": Fate(-2.6, -2.4, -2.4),
    "mango-grafted": Fate(
        -1.6, -3.0, 1.1, "cover:frost_blanket+lamps:lamps-large", "cover with the frost blanket, large lamps inside"
    ),
    "papaya": Fate(-0.4, -2.6, 0.9, *SMALL),
    "sapodilla": Fate(-1.9, -2.8, -1.1, "wet", "water the ground in the afternoon"),
    "canistel": Fate(-1.7, -2.8, 0.3, *SHEETS),
    "lychee-old": Fate(-2.7, -3.2, -1.3, *LARGE),
    "guava": Fate(-2.9, -3.3, -3.3),
    "soursop": Fate(0.2, -4.4, 2.9, "shelter:hoops+heater:heater", "close the hoop frame, heater inside"),
    "wax-jambu": Fate(-0.8, -4.4, 2.9, "shelter:hoops+heater:heater", "close the hoop frame, heater inside"),
    "carambola": Fate(-1.4, -4.4, 2.9, "shelter:hoops+heater:heater", "close the hoop frame, heater inside"),
    "atemoya": Fate(-2.5, -4.0, -2.2, *SHEETS),
    "longan": Fate(-2.9, -4.0, -4.0),
    "jamaican-cherry": Fate(-1.5, -4.1, -4.1),
    "loquat": Fate(-9.0, -4.4, -4.4),
    "peach": Fate(-18.0, -5.6, -5.6, tissue="twig"),
    "apricot": Fate(-19.0, -5.6, -5.6, tissue="twig"),
    "plum": Fate(-19.5, -5.5, -5.5, tissue="twig"),
    "feijoa": Fate(-9.5, -5.4, -5.4),
    "lime-hollow": Fate(-2.0, -5.6, -2.7, "cover:film_infrared/frame", "cover with film on stakes"),
    "pot-cacao": Fate(2.6, -0.6, 7.0, "carry:hallway", "carry into the hallway"),
    "pot-acerola": Fate(-1.2, -0.8, -0.8),
    "pot-mango": Fate(-1.4, -2.6, 1.2, *SHED),
    "pot-finger-lime": Fate(-3.2, -2.6, -2.6),
    "pot-sugar-apple": Fate(-1.2, -2.7, 1.2, *SHED),
    "pot-lemon": Fate(-3.4, -2.9, -0.4, "roof:lean-to", "push under the glass lean-to"),
    "pot-kumquat": Fate(-6.5, -2.8, -2.8, tissue="root"),
}


@cache
def demo_yard() -> Yard:
    """Read the demo yard as it ships."""
    return parse_yard(files("fruitwall.yard").joinpath("data/demo_yard.yaml").read_text("utf-8"), "demo_yard.yaml")


def sample_yard(*, display: Display = CELSIUS, trees: Sequence[Tree] | None = None) -> Yard:
    """Build the yard with other units or trees."""
    changes: dict[str, object] = {"display": display}
    if trees is not None:
        changes |= {"trees": list(trees), "shelters": []}
    return demo_yard().model_copy(update=changes)


def spread_around(value: float, sd: float = 0.8) -> Spread:
    """Build percentiles of a normal spread."""
    return Spread(p10=value - 1.28 * sd, p50=value, p90=value + 1.28 * sd)


def cooled(moment: datetime) -> float:
    """Give how far the night has cooled: 0 at sunset, 1 at its coldest half an hour before sunrise."""
    coldest = SUNRISE - timedelta(minutes=30)
    if moment <= coldest:
        share = (moment - SUNSET) / (coldest - SUNSET)
        return sqrt(share) if share > 0 else share
    return max(1 - (moment - coldest) / timedelta(hours=2.6), 0.0)


def hour_marks() -> list[datetime]:
    """Give the whole hours from before sunset to two hours after sunrise."""
    first = SUNSET.replace(minute=0)
    return [first + timedelta(hours=hour) for hour in range(17)]


def chances(margin_k: float) -> list[float]:
    """Build grade chances from a margin: grade g is reached at so many kelvins beyond what is stood."""
    beyond = (-0.8, 0.0, 0.9, 1.7, 2.8, 4.2, 5.8)
    reached = [1.0, *(0.5 * (1 + erf((-margin_k - step) / SD_K / sqrt(2))) for step in beyond), 0.0]
    return [reached[grade] - reached[grade + 1] for grade in range(8)]


def verdict_of(grades: Sequence[float]) -> str:
    """Give the verdict that the document defines for these chances."""
    if grades[7] > 0.10:
        return "deadly"
    harm = sum(grades[2:])
    return "safe" if harm < 0.05 else "watch" if harm < 0.30 else "danger"


def tree_plan(tree: Tree, fate: Fate) -> TreePlan:
    """Build one tree's plan."""
    alone, planned = fate.alone_c - fate.stands_c, fate.planned_c - fate.stands_c
    grades_alone, grades_planned = chances(alone), chances(planned)
    evening_c = 9.5
    hours = []
    for moment in hour_marks():
        nothing = evening_c + (fate.alone_c - evening_c) * cooled(moment)
        chosen = evening_c + (fate.planned_c - evening_c) * cooled(moment)
        hours.append(
            HourOfTree(
                time=moment,
                tissue_c=spread_around(chosen),
                tissue_if_nothing_c=spread_around(nothing),
                air_c=spread_around(nothing + 1.4),
                margin_k=chosen - fate.stands_c,
                margin_if_nothing_k=nothing - fate.stands_c,
            )
        )
    acts = fate.measure != "leave"
    harm_alone, harm_planned = sum(grades_alone[2:]), sum(grades_planned[2:])
    return TreePlan(
        id=tree.id,
        name=tree.name,
        taxon=tree.taxon,
        cultivar=tree.cultivar,
        position=tree.position,
        crown_diameter_m=tree.crown_diameter_m,
        potted=tree.container is not None,
        measure=fate.measure,
        measure_name=fate.name,
        gear=[part.split(":")[1] for part in fate.measure.split("+") if ":" in part],
        reason=(
            f"Left alone its leaves would come to {fate.alone_c:.1f} °C, {-alone:.1f} K below where harm begins; "
            f"so they stay at {fate.planned_c:.1f} °C, and the chance of harm falls from {harm_alone:.0%} to "
            f"{harm_planned:.0%}."
            if acts
            else f"Its leaves come to {fate.alone_c:.1f} °C, {abs(alone):.1f} K {'below' if alone < 0 else 'above'} "
            "where harm begins."
        ),
        runner_up="cover with old bed sheets: worse by 31 USD, and would change what Guava gets" if acts else None,
        tissue=fate.tissue,
        tissue_min_c={"nothing": spread_around(fate.alone_c), "chosen": spread_around(fate.planned_c)},
        tolerance_c=spread_around(fate.stands_c, 0.9),
        margin_k={"nothing": alone, "chosen": planned},
        injury=GradeChances(nothing=grades_alone, chosen=grades_planned),
        chance_of_harm={"nothing": harm_alone, "chosen": harm_planned},
        chance_of_death={"nothing": grades_alone[7], "chosen": grades_planned[7]},
        fruit_lost={"nothing": 0.0, "chosen": 0.0},
        expected_loss={"nothing": tree.worth * harm_alone * 0.5, "chosen": tree.worth * harm_planned * 0.5},
        verdict=verdict_of(grades_alone),
        verdict_with_plan=verdict_of(grades_planned),
        hours=hours,
        chain=[
            ReasonPart(label="Station air at its lowest", value="−1.7 °C", note="median of 50 courses, 06:20"),
            ReasonPart(
                label="Air at the spot", value=f"{fate.alone_c + 1.4:.1f} °C", note="0.4 K warmer on the terrace"
            ),
            ReasonPart(label="Sky view", value="71 %", note="terrace wall 18 %, walnut 11 %"),
            ReasonPart(label="Leaf under the air", value="1.4 K", note="net loss 62 W/m² at 0.4 m/s"),
            ReasonPart(label="First hurt", value=f"{fate.stands_c:.1f} °C", note="7 published rows, two years old"),
        ],
        cold=cold_explained(fate),
        following_nights=[fate.name, "leave as it is", "leave as it is"],
    )


def cold_explained(fate: Fate) -> ColdExplained:
    """Build how a tree's cold comes about: invented parts that end where its fate says."""
    station_c = -1.7
    kelvins = {"Clear-night offset of the yard": -0.8, "Shelter from the wind": -0.4, "Walls and fences": 0.9}
    kelvins |= {"Bare ground below": 0.5}
    rest = fate.alone_c - station_c - sum(kelvins.values())
    parts = [
        ColdPart(key=key, label=label, kelvin=kelvin, p10_k=kelvin - 0.2, p90_k=kelvin + 0.3, note="an invented note")
        for key, (label, kelvin) in zip(
            ("offset", "wind", "walls", "ground", "sky"),
            [*kelvins.items(), ("Leaves under the open sky", rest)],
            strict=True,
        )
    ]
    gained = fate.planned_c - fate.alone_c
    if gained:
        parts.append(ColdPart(key="cover", label="Cover", kelvin=gained, p10_k=gained, p90_k=gained, note=fate.name))
    return ColdExplained(
        tissue=fate.tissue, hours=1.0, station_c=station_c, parts=parts, alone_c=fate.alone_c, end_c=fate.planned_c
    )


def task(order: int, what: str, trees: Sequence[str], **changes: object) -> Task:
    """Build one task."""
    values: dict[str, object] = {
        "order": order,
        "what": what,
        "trees": list(trees),
        "position": (10.0, 20.0),
        "deadline": SUNSET + timedelta(minutes=10),
        "when": "before_dusk",
        "person": "Wendell",
        "minutes": 6.0,
        "steps": [],
    }
    return Task.model_validate(values | changes)


HOOP_TREES = ("soursop", "wax-jambu", "carambola")


def sample_tasks() -> list[Task]:
    """Build the checklist of the evening."""
    sun = SUNSET - timedelta(hours=2, minutes=50)
    return [
        task(1, "Water the ground at the sapodilla", ["sapodilla"], when="before_sun_leaves", deadline=sun, minutes=8,
             person="Odalis", steps=["20 L within the crown's edge, slowly", "Keep leaves and leads dry"]),
        task(2, "Carry mango and sugar apple into the shed", ["pot-mango", "pot-sugar-apple"], minutes=11,
             lifting_index=1.24, steps=["Sack truck from the gear store", "Two lifts each: onto the truck, off it"],
             cautions=["Push, do not pull, where you can see over the pot."]),
        task(3, "Carry the cacao into the hallway", ["pot-cacao"], minutes=4, person="Odalis", lifting_index=0.82,
             steps=["Carry first, water afterwards"]),
        task(4, "Push the tub with the Meyer lemon under the lean-to", ["pot-lemon"], minutes=7,
             person="Odalis and Wendell", steps=["On the sack truck, one in front, one behind"]),
        task(5, "Cover lychee and seedling mango at the house", ["lychee-mauritius", "mango-seedling"], minutes=10,
             steps=["Small fleece and large fleece", "Down to the ground all round, stones on the edge"]),
        task(6, "Hang the large lamps in the mango and cover it", ["mango-grafted"], minutes=14,
             steps=["Lamp string inside the crown, no lamp against cloth or leaf", "Blanket over it to the ground"],
             cautions=["Test the ground-fault device before you plug in."]),
        task(7, "Cover papaya, canistel and old lychee", ["papaya", "canistel", "lychee-old"], minutes=13,
             person="Odalis", steps=["Small fleece, bed sheets, large fleece", "Dry cloth only"]),
        task(8, "Cover two-year-old avocado, atemoya and lime", ["avocado-mexicola", "atemoya", "lime-hollow"],
             minutes=15, steps=["Small fleece, bed sheets, film on stakes", "No film against a leaf"]),
        task(9, "Set the heater in the hoop frame and close it", HOOP_TREES, minutes=9,
             steps=["Heater on a slab in the middle, set to 3 °C", "Long lead unrolled completely", "West side last"],
             cautions=["At least 0.9 m between heater and film or leaves, measured to where the wind can blow it.",
                       "Somebody stays at home and looks at it before bed."]),
        task(10, "Look at the heater and the thermometer", HOOP_TREES, when="before_bed", minutes=3,
             deadline=SUNSET + timedelta(hours=5, minutes=15), steps=["Leaves off the film, plug cool to the hand"]),
    ]  # fmt: skip


def sample_morning() -> list[Task]:
    """Build what is to be undone."""
    late = SUNRISE + timedelta(hours=1, minutes=40)
    return [
        task(1, "Open the hoop frame", HOOP_TREES, when="morning", deadline=late, minutes=4, person=None,
             steps=["Closed until noon its leaves would reach 41 °C in the sun"]),
        task(2, "Heater and lamps off, blanket and film off", ["mango-grafted", "lime-hollow"], when="morning",
             minutes=8, person=None, deadline=late + timedelta(minutes=30)),
    ]  # fmt: skip


def sample_limits() -> list[Limit]:
    """Build what is scarce."""

    def enough(key: str, name: str, unit: str, used: float, available: float) -> Limit:
        return Limit(
            key=key,
            name=name,
            unit=unit,
            used=used,
            available=available,
            binding=False,
            one_more=None,
            one_more_saves=None,
        )

    return [
        Limit(key="sheets:fleece-small", name="Small fleece", unit="sheets", used=3, available=3, binding=True,
              one_more="One more would save 38 USD (Guava would fare better).", one_more_saves=38.0),
        Limit(key="watts:patio-outlet", name="Patio outlet", unit="W", used=1675, available=1920, binding=True,
              one_more="100 more W would save 22 USD (Old lychee would fare better).", one_more_saves=22.0),
        enough("minutes:wendell", "Minutes of Wendell before dusk", "min", 66, 75),
        enough("minutes:odalis", "Minutes of Odalis before dusk", "min", 32, 45),
        enough("spaces:shed-floor", "Room in the shed", "pots", 2, 4),
    ]  # fmt: skip


def sample_ways() -> list[WayOut]:
    """Build the ways through the night that stand beside the plan."""
    plan = {"pot-cacao": "carry:hallway", "papaya": "cover:fleece_medium", "sapodilla": "wet"}
    return [
        WayOut(key="nothing", name="do nothing", expected_loss=1710.4, chance_of_losing_a_tree=0.999, minutes=0,
               lifts=0, kwh=0, measures={}),
        WayOut(key="last", name="the same as on Tue 22 Dec", expected_loss=1320, chance_of_losing_a_tree=0.93,
               minutes=70, lifts=4, kwh=12.0, measures={"papaya": "cover:fleece_medium"}),
        WayOut(key="plan", name="the plan", expected_loss=1131, chance_of_losing_a_tree=0.8, minutes=95, lifts=2,
               kwh=4.66, measures=plan),
        WayOut(key="everything", name="everything possible", expected_loss=803, chance_of_losing_a_tree=0.61,
               minutes=410, lifts=14, kwh=31.2, measures=plan | {"guava": "wet"},
               note="as if there were gear, power and people without limit"),
    ]  # fmt: skip


def sample_plan(
    *,
    yard: Yard | None = None,
    fates: Mapping[str, Fate] = FATES,
    night: date = NIGHT,
    **changes: object,
) -> EveningPlan:
    """Build the plan of the cold evening; `changes` replace whole fields."""
    yard = yard or sample_yard()
    trees = [tree_plan(tree, fates[tree.id]) for tree in yard.trees]
    at_risk = [tree for tree in trees if tree.verdict_with_plan in ("danger", "deadly")]
    acting = sum(tree.measure != "leave" for tree in trees)
    values: dict[str, object] = {
        "night": night,
        "yard": yard.name,
        "time_zone": yard.location.time_zone,
        "currency": yard.display.currency,
        "sunset": SUNSET,
        "sunrise": SUNRISE,
        "made": NOW - timedelta(minutes=4),
        "verdict": (
            f"Near {'29 °F' if yard.display.temperature == 'F' else '−1.7 °C'} at the station tonight: {acting} trees "
            f"need something before dark; {len(at_risk)} trees stay at risk even so."
        ),
        "needs_action": True,
        "forecast": ForecastSummary(
            source="Ensemble forecast for the valley station",
            issued=NOW - timedelta(hours=3),
            members=50,
            station_minimum_c=spread_around(-1.7, 1.0),
            dew_point_c=spread_around(-6.2, 1.2),
            wind_m_s=spread_around(0.9, 0.4),
            cloud=Spread(p10=0.0, p50=0.03, p90=0.2),
            following_minima_c=[spread_around(low, 1.4) for low in (-0.6, 1.4, 3.9)],
        ),
        "trees": trees,
        "tasks": sample_tasks(),
        "morning": sample_morning(),
        "limits": sample_limits(),
        "at_risk": [
            AtRisk(
                id=tree.id,
                name=tree.name,
                chance_of_harm=tree.chance_of_harm["chosen"],
                chance_of_death=tree.chance_of_death["chosen"],
                why="The gear, people and effort at hand do more good elsewhere."
                if tree.measure == "leave"
                else f"{tree.measure_name.capitalize()} helps, but not enough.",
            )
            for tree in at_risk
        ],
        "compare": sample_ways(),
        "cautions": [
            "Test every ground-fault device before the evening; unroll leads completely, joints off the ground.",
            "A portable heater should not run unattended: somebody stays at home tonight and looks at it before bed.",
            "Treat the lifting limit as the most that could be right: cold hands and wet grass lower it.",
            "Open the hoop frame in the morning; sun under film cooks a tree.",
        ],
        "expected_loss": {
            "nothing": sum(tree.expected_loss["nothing"] for tree in trees),
            "plan": sum(tree.expected_loss["chosen"] for tree in trees),
        },
        "minutes": 98.0,
        "lifts": 6,
        "kwh": 18.3,
        "solver": Solver(status="optimal", gap=0.0, seconds=0.42, nights=3),
    }
    return EveningPlan.model_validate(values | changes)


def calm_plan(yard: Yard | None = None) -> EveningPlan:
    """Build a night on which nothing has to be done."""
    mild = {key: Fate(fate.stands_c, fate.alone_c + 12, fate.alone_c + 12) for key, fate in FATES.items()}
    return sample_plan(
        yard=yard,
        fates=mild,
        verdict="Nothing needs doing tonight: a minimum near 10.3 °C at the station harms no tree.",
        needs_action=False,
        tasks=[],
        morning=[],
        limits=[],
        compare=[],
        cautions=[],
        minutes=0.0,
        lifts=0,
        kwh=0.0,
    )


LONG_NAME = ("A tree with a remarkably long name that the grower's grandmother gave it " * 2)[:119].strip()
"""As long as the yard file allows."""

UNBROKEN_NAME = "Llanfairpwllgwyngyllgogerychwyrndrobwllllantysiliogogogoch" * 2


def large_evening(count: int, *, display: Display = CELSIUS) -> tuple[Yard, EveningPlan]:
    """Build a yard with many trees, some of them with very long names, and its plan."""
    base = demo_yard().trees
    trees, fates = [], {}
    for index in range(count):
        model = base[index % len(base)]
        name = {0: LONG_NAME, 1: UNBROKEN_NAME[:119]}.get(index % 40, f"{model.name} {index + 1}")
        place = (1.5 + (index * 2.31) % 29, 1.5 + (index // 12) * 2.7)
        trees.append(model.model_copy(update={"id": f"tree-{index + 1}", "name": name, "position": place}))
        fates[f"tree-{index + 1}"] = FATES[model.id]
    yard = sample_yard(display=display, trees=trees)
    return yard, sample_plan(yard=yard, fates=fates, tasks=[], morning=[])
