"""How many kelvin each process adds: from the air at the weather station to a tissue of one tree, step by step.

The same night is simulated again and again, each time with one thing more as it really is. What a thing adds is the
difference of two neighbours in that chain, so that the parts sum to the whole exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.cases import clock_of
from fruitwall.physics.cooling import inversion_k
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.physics.faces import Face
from fruitwall.physics.night import simulate
from fruitwall.physics.spot import Spot
from fruitwall.physics.steps import steps_of
from fruitwall.physics.treatment import LEAVE, Night, Treatment
from fruitwall.weather.forcing import Forcing

FloatArray = NDArray[np.float64]

AIR_PARTS = ("offset", "hollow", "height", "learned")
"""What makes the air at a crown differ from that at the station."""

SPOT_PARTS = ("sky", "wind", "canopy", "roof", "walls", "wall_warmth", "ground", "paving", "shade")
"""What the surroundings of a tree add, in order."""

TREATMENT_PARTS = ("place", "watering", "cover", "barrels", "lamps", "heater", "room")
"""What is done for a tree, in order."""

PARTS = AIR_PARTS + SPOT_PARTS + TREATMENT_PARTS
"""Keys of all parts, in the order of every chain."""

COLD_GROUND = "mulch"
"""Surface of the ground from which the chain starts: it holds the soil's heat back, so that what bare ground, turf or
paving give instead is seen as a part of its own. Our judgement."""


class Stage(NamedTuple):
    """One simulation of a chain: which part it adds, where the tree then stands, and what is done for it."""

    key: str
    spot: Spot
    treatment: Treatment


@dataclass(frozen=True, eq=False)
class Chain:
    """One tree's night taken apart.

    Attributes
    ----------
    keys : tuple of str
        Of the parts that exist for this tree, from `PARTS`, in their order.
    start_c : ndarray, shape (member,)
        Coldest running mean of the station's air. [°C]
    after_c : ndarray, shape (part, member)
        The same with all parts up to this one: of the air at the crown for `AIR_PARTS`, then of the tissue. The last
        row is what `physics.night.simulate` gives for the tree. [°C]
    """

    keys: tuple[str, ...]
    start_c: FloatArray
    after_c: FloatArray

    @property
    def parts_k(self) -> FloatArray:
        """What each part adds, shape (part, member). [K]"""
        return np.diff(np.vstack([self.start_c[None, :], self.after_c]), axis=0)

    def middle(self) -> tuple[float, FloatArray]:
        """Give start and `after_c` of the member in the middle.

        Returns
        -------
        start : float
            [°C]
        after : ndarray, shape (part,)
            Of the member whose tissue, left alone, is the median; with an even number of members the mean of the two
            in the middle, so that it is the median itself. Both are sums over whole members: the parts still add up.
        """
        alone = max(row for row, key in enumerate(self.keys) if key not in TREATMENT_PARTS)
        order = np.argsort(self.after_c[alone], kind="stable")
        both = order[[(order.size - 1) // 2, order.size // 2]]
        return float(self.start_c[both].mean()), np.asarray(self.after_c[:, both].mean(axis=1))


def contributions(
    forcing: Forcing,
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Treatment],
    night: Night,
    *,
    tissues: Sequence[str],
    durations_h: Sequence[float],
    faces: Sequence[Face] = (),
    soil: str = "loam",
    moisture: str = "moist",
    step_minutes: int = 15,
    threads: int = 2,
    clear_night_offset_k: float = 0.0,
) -> list[Chain]:
    """Take the coldest moments of trees apart into what each process adds.

    Parameters
    ----------
    forcing, spots, bodies, faces, soil, moisture, step_minutes, threads, clear_night_offset_k
        As for `physics.night.simulate`; one spot and body per tree.
    treatments : sequence of Treatment, one per tree
        What is done for each tree.
    night : Night
    tissues : sequence of str, one per tree
        Which of `TISSUES` to explain.
    durations_h : sequence of float, one per tree
        Which running mean to explain, one of `DURATIONS_H`. [h]

    Returns
    -------
    list of Chain
        One per tree; NaN where the tree has no such tissue.

    Raises
    ------
    ValueError
        As `simulate`, and if a tissue or duration is not one of those named.

    Notes
    -----
    The order of the chain is a choice: processes do not simply add up (a roof matters less where walls hide the sky
    already), and another order would divide the same whole differently. Ours goes from what is farthest from the
    tree to what is nearest, as somebody would build the yard up: the air of the yard (clear-night offset, hollow,
    height of the crown, what thermometers taught); the crown under the whole open sky, in the open yard's wind,
    over ground that gives no heat; then shelter from the wind; crowns and hills, roofs and walls that hide sky,
    walls taken to be as warm as the air; the warmth that walls keep; the heat of the real ground; paving and water;
    the sun that all this keeps away by day; and at last what is done for the tree. So each part answers what it
    changes where the ones before it are there.

    Coldest running means are compared, each at its own time, not values at one moment: the plan judges by them, and
    tissues that lag behind the air (limbs, root balls) have no moment in common with it.
    """
    _check(spots, bodies, treatments, tissues, durations_h)
    steps = steps_of(forcing, step_minutes)
    inside = clock_of(steps.time_utc, [night]).night == 0
    air, cooling = steps.t_air_c[:, inside], steps.cooling[:, inside]
    known = {face.id for face in faces}
    stages = [stages_of(spot, treatment, known) for spot, treatment in zip(spots, treatments, strict=True)]
    result = simulate(
        forcing,
        [stage.spot for of_tree in stages for stage in of_tree],
        [body for body, of_tree in zip(bodies, stages, strict=True) for _ in of_tree],
        [[stage.treatment] for of_tree in stages for stage in of_tree],
        [night],
        faces=faces,
        soil=soil,
        moisture=moisture,
        step_minutes=step_minutes,
        threads=threads,
        clear_night_offset_k=clear_night_offset_k,
    )
    chains, first = [], 0
    for spot, of_tree, tissue, duration in zip(spots, stages, tissues, durations_h, strict=True):
        rows = slice(first, first + len(of_tree))
        first += len(of_tree)
        length = round(duration * 3600.0 / steps.step_s)
        on_the_way = _air(spot, clear_night_offset_k)
        through_air = [coldest_mean(air + k_all + k_full * cooling, length) for _, k_all, k_full in on_the_way]
        of_tissue = result.coldest_c[rows, 0, :, 0, TISSUES.index(tissue), DURATIONS_H.index(duration)]
        chains.append(
            Chain(
                keys=(*(key for key, *_ in on_the_way), *(stage.key for stage in of_tree)),
                start_c=coldest_mean(air, length),
                after_c=np.vstack([*through_air, of_tissue]),
            )
        )
    return chains


def _check(
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Treatment],
    tissues: Sequence[str],
    durations_h: Sequence[float],
) -> None:
    """Refuse what does not fit together."""
    counts = [len(each) for each in (spots, bodies, treatments, tissues, durations_h)]
    if len(set(counts)) > 1:
        raise ValueError(
            f"spots, bodies, treatments, tissues and durations_h must have one entry for each tree, got {counts}"
        )
    for tissue in tissues:
        if tissue not in TISSUES:
            raise ValueError(f"tissues must be of {', '.join(TISSUES)}, got {tissue!r}")
    for duration in durations_h:
        if duration not in DURATIONS_H:
            raise ValueError(f"durations_h must be of {', '.join(map(str, DURATIONS_H))}, got {duration!r}")


def coldest_mean(values: FloatArray, length: int) -> FloatArray:
    """Give the lowest mean of so many steps in a row.

    Parameters
    ----------
    values : ndarray, shape (member, step)
    length : int
        Steps, at least 1 and at most all.

    Returns
    -------
    ndarray, shape (member,)
    """
    return np.asarray(np.lib.stride_tricks.sliding_window_view(values, length, axis=1).mean(axis=2).min(axis=1))


def _air(spot: Spot, offset_k: float) -> list[tuple[str, float, float]]:
    """What exists of `AIR_PARTS`, each with the difference to the station that all up to it make.

    At all hours, and on top of it at full cooling.
    """
    always = (0.0, 0.0, 0.0, spot.learned_k)
    cooled = (offset_k, -spot.colder_k, float(inversion_k(spot.height_m, 1.0)), spot.learned_clear_k)
    return [
        (key, sum(always[: at + 1]), sum(cooled[: at + 1]))
        for at, key in enumerate(AIR_PARTS)
        if always[at] != 0.0 or cooled[at] != 0.0
    ]


def stages_of(spot: Spot, treatment: Treatment, stores: set[str]) -> list[Stage]:
    """Give the simulations of one tree's chain, from the open yard to how it is.

    Parameters
    ----------
    spot : Spot
        Where the tree stands.
    treatment : Treatment
        What is done for it.
    stores : set of str
        Ids of the faces that keep heat.

    Returns
    -------
    list of Stage
        At least the first, "sky"; the others as far as they exist for this tree.
    """
    places = _places(spot, stores)
    # The last is the spot itself, so that the end is exact whatever else a spot may come to hold.
    places[-1] = (places[-1][0], spot)
    stages = [Stage(key, place, LEAVE) for key, place in places]
    return stages + _done(places[-1][1], treatment)


def _places(spot: Spot, stores: set[str]) -> list[tuple[str, Spot]]:
    """Build the surroundings up, part by part."""
    as_warm_as_air = tuple(f"as warm as the air/{key}" for key in spot.wall_ids)
    now = replace(
        spot,
        sky=spot.sky + spot.roof + spot.wall + spot.canopy,
        roof=0.0,
        wall=0.0,
        canopy=0.0,
        wall_ids=(),
        wall_shares=(),
        wall_below=0.0,
        wall_below_shares=(),
        ground=COLD_GROUND,
        paving_share=0.0,
        pond_share=0.0,
        paving_material=None,
        sun_share=np.ones_like(spot.sun_share),
        diffuse_share=1.0,
        wind_share=1.0,
        stillness=0.0,
        side_sky=0.5,
    )
    found = [("sky", now)]

    def add(key: str, exists: bool, **changes: object) -> None:
        """Put one thing more as it is."""
        nonlocal now
        if exists:
            now = replace(now, **changes)  # type: ignore[arg-type]  # the fields' own types, spelt out below
            found.append((key, now))

    add(
        "wind",
        spot.wind_share != 1.0 or spot.stillness != 0.0,
        wind_share=spot.wind_share,
        stillness=spot.stillness,
    )
    # What an upright cover sees of the sky is known with all obstacles only: it comes with the last that exists.
    walled = spot.wall > 0.0 or spot.wall_below > 0.0
    roofed = spot.roof > 0.0
    add(
        "canopy",
        spot.canopy > 0.0,
        sky=spot.sky + spot.roof + spot.wall,
        canopy=spot.canopy,
        side_sky=0.5 if walled or roofed else spot.side_sky,
    )
    add("roof", roofed, sky=spot.sky + spot.wall, roof=spot.roof, side_sky=0.5 if walled else spot.side_sky)
    add(
        "walls",
        walled,
        sky=spot.sky,
        side_sky=spot.side_sky,
        wall=spot.wall,
        wall_ids=as_warm_as_air,
        wall_shares=spot.wall_shares,
        wall_below=spot.wall_below,
        wall_below_shares=spot.wall_below_shares,
    )
    add("wall_warmth", not stores.isdisjoint(spot.wall_ids), wall_ids=spot.wall_ids)
    add("ground", spot.ground != COLD_GROUND, ground=spot.ground)
    add(
        "paving",
        spot.paving_share > 0.0 or spot.pond_share > 0.0,
        paving_share=spot.paving_share,
        pond_share=spot.pond_share,
        paving_material=spot.paving_material,
    )
    add(
        "shade",
        spot.diffuse_share < 1.0 or bool((spot.sun_share < 1.0).any()),
        sun_share=spot.sun_share,
        diffuse_share=spot.diffuse_share,
    )
    return found


def _done(spot: Spot, treatment: Treatment) -> list[Stage]:
    """Do what is done for the tree, part by part."""
    found: list[Stage] = []

    def add(key: str, exists: bool, now: Treatment) -> None:
        """Put one measure more."""
        if exists:
            found.append(Stage(key, spot, now))

    if treatment.spot is not None:
        spot = treatment.spot
        add("place", True, LEAVE)
        treatment = replace(treatment, spot=None)
    outdoors = replace(treatment, room=None)
    add(
        "watering",
        treatment.wet_ground,
        Treatment(key="wet", wet_ground=treatment.wet_ground, wet_from_utc=treatment.wet_from_utc),
    )
    add("cover", treatment.covered, replace(outdoors, lamp_w=0.0, heater_w=0.0, water_l=0.0))
    add("barrels", treatment.covered and treatment.water_l > 0.0, replace(outdoors, lamp_w=0.0, heater_w=0.0))
    add("lamps", treatment.lamp_w > 0.0, replace(outdoors, heater_w=0.0))
    add("heater", treatment.heater_w > 0.0, outdoors)
    add("room", treatment.room is not None, treatment)
    return found
