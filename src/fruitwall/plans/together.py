"""Several trees under one sheet: neighbours whose crowns nearly touch, covered as one.

One sheet over two or three crowns is a decision that they share, like the state of a standing shelter: either each of
them is treated on its own (``apart``), or all of them are under it. The sheet must reach the ground all round the
smallest rectangle that holds their crowns, at the height of the highest.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

from fruitwall.plans.covering import Covering, Crowns, cover_part, heater_below, lamps_below
from fruitwall.plans.covers import HEATER_ROOM_M
from fruitwall.plans.making import SHEET, XY, Making
from fruitwall.plans.parts import Measure, Part, Setting
from fruitwall.plans.sheltering import closes
from fruitwall.speech import say
from fruitwall.yard.model import Building, Canopy, Cover, Fence, Pond, Tree, Wall, Yard
from fruitwall.yard.plan import line_of, shape

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

GAP_M = 0.6
"""Crowns farther apart than this are not covered as one: the sheet would sag between them. Our judgement. [m]"""

HEIGHT_RATIO = 1.5
"""The highest of a group over the lowest, at most: below that a small tree would stand in a tall tent, which the
night of a cover of its own size does not describe. Our judgement."""

MOST_TREES = 3
GROUPS_PER_TREE = 3
MOST_GROUPS = 12
"""How many trees are thought of under one sheet, how many such groups for one tree, and in a yard: every group is
computed through every night and adds to the programme."""

FRAME_GAP_M = 0.2
"""Room between crowns and frame, as for a frame round one tree. Our judgement. [m]"""


@dataclass(frozen=True)
class Group:
    """Trees that could be covered as one.

    Attributes
    ----------
    trees : tuple of Tree
        Two or three, in the yard's order.
    width_m, length_m : float
        Of the smallest rectangle that holds their crowns, the shorter first. [m]
    height_m : float
        Of the highest. [m]
    middle : tuple of float
        Of that rectangle. [m, m]
    heated : bool
        Lamps or a heater under its sheet are thought of.
    """

    trees: tuple[Tree, ...]
    width_m: float
    length_m: float
    height_m: float
    middle: XY
    heated: bool = False

    @property
    def key(self) -> str:
        """Identifiers of the trees, joined by what none of them holds and a list of keys is not cut at."""
        return "+".join(tree.id for tree in self.trees)

    @property
    def name(self) -> str:
        """Names of the trees, in words."""
        names = [tree.name for tree in self.trees]
        return say("{join} and {value}", join=", ".join(names[:-1]), value=names[-1])

    @property
    def sheet_m(self) -> tuple[float, float]:
        """Smallest sheet that reaches the ground all round, the shorter side first. [m, m]"""
        return (self.width_m + 2.0 * self.height_m, self.length_m + 2.0 * self.height_m)

    @property
    def sheet_with_heater_m(self) -> tuple[float, float]:
        """The same on a frame that leaves a heater its clearance beside the last of the row. [m, m]"""
        width, length = max(self.width_m, HEATER_ROOM_M), self.length_m + HEATER_ROOM_M
        return (width + 2.0 * self.height_m, length + 2.0 * self.height_m)

    def fits(self, sheet: Cover, *, heater: bool = False) -> bool:
        """Tell whether a sheet reaches the ground all round, laid either way; a millimetre is forgiven."""
        sides = sorted((sheet.width_m, sheet.length_m))
        wants = self.sheet_with_heater_m if heater else self.sheet_m
        return all(have >= want - 1e-3 for have, want in zip(sides, wants, strict=True))

    @property
    def crowns(self) -> Crowns:
        """All crowns as one."""
        return Crowns(
            key=self.key,
            name=self.name,
            trees=tuple(tree.id for tree in self.trees),
            group=f"{SHEET}{self.key}",
            at=self.middle,
            height_m=self.height_m,
            length_m=self.length_m,
            steps=(
                say(
                    "One sheet over {trees}: lay it along the row, draw it down to the ground all round and weigh it "
                    "down.",
                    trees=self.name,
                ),
                say("Leave no gap where it hangs between two crowns; never tie it in round a trunk."),
            ),
        )


_kept: dict[str, tuple[Yard, float, list[Group]]] = {}
"""Groups of the yard asked for last: measures are made tree by tree, and its groups are the same for all of them."""


def groups_of(making: Making) -> list[Group]:
    """Give the groups of trees that one of the yard's sheets could cover.

    Parameters
    ----------
    making : Making

    Returns
    -------
    list of Group
        The smallest first; at most `MOST_GROUPS`, and `GROUPS_PER_TREE` for each tree. Trees of a standing shelter
        that can be closed are left out, and groups between or within whose crowns something else stands.
    """
    kept = _kept.get("last")
    if kept is not None and kept[0] is making.yard and kept[1] == making.times.highest_m:
        return kept[2]
    found = _find_groups(making)
    _kept["last"] = (making.yard, making.times.highest_m, found)
    return found


def _find_groups(making: Making) -> list[Group]:
    """Find the groups of a yard."""
    yard = making.yard
    if not yard.gear.covers:
        return []
    sheltered = {tree for shelter in yard.shelters if closes(shelter) for tree in shelter.trees}
    free = [tree for tree in yard.trees if tree.id not in sheltered and tree.height_m <= making.times.highest_m]
    near = [frozenset((a.id, b.id)) for a, b in combinations(free, 2) if _near(a, b)]
    sets = set(near)
    for size in range(3, MOST_TREES + 1):
        sets |= {its | pair for its in sets if len(its) == size - 1 for pair in near if len(its | pair) == size}
    obstacles = _obstacles(yard) if sets else []
    found = []
    for members in sets:
        trees = tuple(tree for tree in free if tree.id in members)
        heights = [tree.height_m for tree in trees]
        if max(heights) > HEIGHT_RATIO * min(heights):
            continue
        group = _group(yard, trees, obstacles)
        if group is not None and any(group.fits(sheet) for sheet in yard.gear.covers):
            found.append(group)
    found.sort(key=lambda group: (-len(group.trees) / (group.sheet_m[0] * group.sheet_m[1]), group.key))
    taken: Counter[str] = Counter()
    warm: set[str] = set()
    kept: list[Group] = []
    for group in found:
        if len(kept) < MOST_GROUPS and all(taken[tree.id] < GROUPS_PER_TREE for tree in group.trees):
            ids = {tree.id for tree in group.trees}
            kept.append(replace(group, heated=not ids & warm))
            warm |= ids
            taken.update(ids)
    return kept


def sheets_of(making: Making, group: Group) -> list[Setting]:
    """Give the states of a group of trees: ``apart`` first, then under each kind of sheet, bare and warmed below."""
    name, over, gear = f"{SHEET}{group.key}", group.crowns, making.yard.gear
    states = [Setting(name, "apart", say("{group} each on its own", group=group.name))]
    for material, on_frame in dict.fromkeys((cover.material, cover.on_frame) for cover in gear.covers):
        same = [cover for cover in gear.covers if (cover.material, cover.on_frame) == (material, on_frame)]
        fitting = sorted((c for c in same if group.fits(c)), key=lambda c: (c.width_m * c.length_m, c.id))
        covering = Covering(material, on_frame, tuple(fitting))
        part = cover_part(making, over, covering)
        if not fitting or not part.ways:
            continue
        words = say("cover {group} with one {covering}", group=group.name, covering=covering.name)
        bare = Setting(name, covering.key, words, (part,))
        states.append(bare)
        if not group.heated:
            continue
        for lamp in gear.lamps:
            warm = lamps_below(making, over, lamp)
            if isinstance(warm, Part):
                states.append(_warmed(bare, f"lamps:{lamp.id}", lamp.name, (warm, part)))
        wide = [sheet for sheet in fitting if on_frame and group.fits(sheet, heater=True)]
        for heater in gear.heaters if wide else ():
            warm = heater_below(making, over, heater)
            if isinstance(warm, Part):
                under = cover_part(making, over, replace(covering, sheets=tuple(wide)), wide=True)
                states.append(_warmed(bare, f"heater:{heater.id}", heater.name, (warm, under)))
    return states


def _warmed(bare: Setting, device: str, name: str, parts: tuple[Part, ...]) -> Setting:
    """Give a state with something that warms below the sheet."""
    return Setting(
        bare.group, f"{bare.state}+{device}", say("{bare}, with {name} under it", bare=bare.name, name=name), parts
    )


def covered_together(making: Making, tree: Tree, states: dict[str, list[Setting]]) -> Iterator[Measure]:
    """Give the measures of a tree under one sheet with others.

    Parameters
    ----------
    making : Making
    tree : Tree
    states : dict of str to list of Setting
        By key of the group, those of the groups in which the tree is; ``apart`` first.
    """
    groups = {group.key: group for group in groups_of(making) if tree in group.trees}
    for key, settings in states.items():
        elsewhere = tuple(others[0] for other, others in states.items() if other != key)
        group = groups[key]
        for setting in settings[1:]:
            kind, _, frame = setting.state.removeprefix("cover:").partition("+")[0].partition("/")
            yield Measure(
                key=f"together:{key}:{setting.state.removeprefix('cover:')}",
                name=setting.name,
                tree=tree.id,
                requires=(setting, *elsewhere),
                cover=kind,
                on_frame=bool(frame),
                to_ground=True,
                lamp=setting.lamp,
                heater=setting.heater,
                frame_m=_frame_m(group, heater=setting.heater is not None) if frame else None,
                heat_share=1.0 if frame else _heat_share(group, tree),
            )


def _frame_m(group: Group, *, heater: bool) -> tuple[float, float, float]:
    """Give width, length and height of the frame round a group, with room for a heater beside it. [m]"""
    room = 2.0 * FRAME_GAP_M
    width, length = group.width_m + room, group.length_m + room
    if heater:
        width, length = max(width, HEATER_ROOM_M), length + HEATER_ROOM_M
    return width, length, group.height_m + FRAME_GAP_M


def _heat_share(group: Group, tree: Tree) -> float:
    """Give a tree's share of what warms all under one cloth: that of the ground under a cloth of its own. [0-1]"""
    from fruitwall.physics.body import Body
    from fruitwall.physics.enclosure import enclose
    from fruitwall.physics.treatment import Treatment

    cloth = Treatment(cover="bed_sheet")  # of whatever material: it hangs alike

    def ground_m2(its: Tree) -> float:
        return enclose(cloth, Body(crown_diameter_m=its.crown_diameter_m, height_m=its.height_m)).ground_m2

    return ground_m2(tree) / sum(ground_m2(its) for its in group.trees)


def _near(a: Tree, b: Tree) -> bool:
    """Tell whether two crowns nearly touch."""
    reach = (a.crown_diameter_m + b.crown_diameter_m) / 2.0
    return math.dist(a.position, b.position) - reach <= GAP_M


def _obstacles(yard: Yard) -> list[BaseGeometry]:
    """Give what a sheet cannot be drawn across."""
    from shapely import Point

    found: list[BaseGeometry] = []
    for its in yard.structures:
        if isinstance(its, Building | Pond):
            found.append(shape(its.outline))
        elif isinstance(its, Wall | Fence):
            found.append(line_of(its))
        elif isinstance(its, Canopy):
            found.append(Point(its.position))
    return [*found, *(shape(shelter.outline) for shelter in yard.shelters)]


def _group(yard: Yard, trees: tuple[Tree, ...], obstacles: list[BaseGeometry]) -> Group | None:
    """Measure a group of trees; None if something stands where the sheet would hang."""
    from shapely import Point, Polygon
    from shapely.ops import unary_union

    def crown(tree: Tree) -> BaseGeometry:
        return Point(tree.position).buffer(tree.crown_diameter_m / 2.0)

    rectangle = unary_union([crown(tree) for tree in trees]).minimum_rotated_rectangle
    if not isinstance(rectangle, Polygon):
        raise ValueError(f"crowns must cover an area, got those of {', '.join(tree.id for tree in trees)}")
    ids = {tree.id for tree in trees}
    reach = max(math.dist(a.position, b.position) for a in trees for b in trees)
    reach += max(tree.crown_diameter_m for tree in trees)
    others = [
        tree
        for tree in yard.trees
        if tree.id not in ids and math.dist(tree.position, trees[0].position) < reach + tree.crown_diameter_m
    ]
    if any(rectangle.intersects(its) for its in obstacles) or any(rectangle.intersects(crown(its)) for its in others):
        return None
    corners = list(rectangle.exterior.coords)
    sides = sorted(math.dist(corners[at], corners[at + 1]) for at in (0, 1))
    height = max(tree.height_m for tree in trees)
    middle = (float(rectangle.centroid.x), float(rectangle.centroid.y))
    return Group(trees, sides[0], sides[1], height, middle)
