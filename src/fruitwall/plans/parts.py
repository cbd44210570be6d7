"""The words of the planner: parts, ways, feeds, settings, measures.

A *measure* is what one tree gets on a night. It is made of *parts*, the single things that somebody has to do and
that can stay in place until the next night: the sheet put over this tree, the lamp string hung in it, the pot
carried in. Every part can be done in one or more *ways* (who, alone or in pairs, on foot or with the trolley) and
a lamp or heater gets its power by one of several *feeds*. What several trees must share, such as a standing
shelter closed or open, is a *setting*: exactly one state of each group holds on a night.

Nothing here decides anything: `plans.measures` makes these from a yard, `plans.evening` chooses.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

PartKind = Literal[
    "cover",
    "lamps",
    "heater",
    "carry",
    "roof",
    "wall",
    "wet",
    "pick",
    "close",
    "into_shade",
    "whitewash",
    "shade",
    "water",
]
"""What is done; `carry` goes indoors, `roof` to a place under a roof, `wall` to the foot of a warm wall, `pick` takes
the fruit off, `close` closes a standing shelter. Against heat: `into_shade` brings a pot to a shady place, `whitewash`
paints bark, `shade` hangs shade cloth, `water` waters before a hot day."""

Deadline = Literal["before_sun_leaves", "before_dusk", "before_bed", "morning"]
"""By when: while the ground is still sunlit, before dusk, before going to bed, after sunrise."""

DEADLINES: tuple[Deadline, ...] = ("before_sun_leaves", "before_dusk", "before_bed", "morning")
"""All deadlines, earliest first."""

ORDER_OF_WORK: tuple[PartKind, ...] = (
    "wet",
    "pick",
    "carry",
    "roof",
    "wall",
    "heater",
    "lamps",
    "cover",
    "close",
    "into_shade",
    "whitewash",
    "shade",
    "water",
)
"""In which order parts of one `Part.group` are done in the evening: water first, while nothing electric lies about;
what stands below a cover before the cover; a shelter is closed when all is in it. Against heat: a pot is moved
before it is watered, and bark painted before cloth hangs over it."""

MORNING_ORDER: tuple[PartKind, ...] = ("heater", "lamps", "cover", "close")
"""In which order they are undone in the morning: devices are switched off before the cover over them is opened, so
that nobody reaches past a hot lamp and no cloth falls on it. Other kinds have no morning."""


@dataclass(frozen=True)
class Lift:
    """One lift of a container in the posture assumed for it.

    Attributes
    ----------
    mass_kg : float
        What is lifted. [kg]
    limit_kg : float
        Recommended weight limit of the revised lifting equation for that posture. [kg]
    """

    mass_kg: float
    limit_kg: float

    @property
    def index(self) -> float:
        """Lifting index; above 1 means raised risk of back trouble for some people.

        Infinite where the equation allows no load at all, as for a container too wide to be held close.
        """
        return self.mass_kg / self.limit_kg if self.limit_kg > 0.0 else math.inf


@dataclass(frozen=True)
class Way:
    """One way of doing a part: who, how long, with what help.

    Attributes
    ----------
    people : tuple of str
        Identifiers of the persons who do it together.
    minutes : float
        Minutes that each of them needs this evening, with the walk there. [min]
    trolley : str or None
        Trolley used, if any.
    ladder : bool
        Done from a ladder.
    lifts, lifts_back : int
        Lifts by hand, this evening and when it is undone some day.
    lift : Lift or None
        The heaviest of those lifts.
    note : str
        How, in words: "alone, with a pole", "on the trolley".
    """

    people: tuple[str, ...]
    minutes: float
    trolley: str | None = None
    ladder: bool = False
    lifts: int = 0
    lifts_back: int = 0
    lift: Lift | None = None
    note: str = ""


@dataclass(frozen=True)
class Feed:
    """One way of bringing power to a lamp string or heater.

    Attributes
    ----------
    circuit : str
        Identifier of the circuit.
    leads : tuple of str
        Extension leads that reach and carry the load; one of them is used. Empty: plugged straight in.
    """

    circuit: str
    leads: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """One thing that somebody does for one tree, or for all trees of a shelter.

    Attributes
    ----------
    key : str
        Unique in the yard, such as ``cover:fleece_medium@mango``.
    kind : PartKind
        What is done.
    name : str
        The same in words.
    trees : tuple of str
        Trees that it serves.
    ways : tuple of Way
        How it can be done; never empty.
    minutes_again, minutes_morning, minutes_remove : float
        Minutes on every further evening that it stays in place (closing a film that was opened by day), every
        morning (opening, switching off), and once when it is undone. [min]
    stays : bool
        Can be left in place by day. If false it is done anew every evening.
    deadline : Deadline
        By when.
    sheets : tuple of str
        Sheets that fit, one of which is used.
    device : str or None
        Lamp string or heater used.
    watts, kwh : float
        Load while on [W] and energy of one night [kWh].
    wear : float
        What a night of use wears off the gear: that of the device, or of the smallest sheet that fits, which is handed
        out first. [currency]
    feeds : tuple of Feed
        How the power can come; empty if it needs none.
    room : str or None
        Place with a limited number of spaces in which the container then stands: ``place:<id>``, ``roof:<id>`` or
        ``wall:<face>`` or ``shade:<place>``.
    position : tuple of float
        Where it is done, in the yard's frame. [m, m]
    steps : tuple of str
        What to do, in words.
    group : str
        What is done together, in the order of work (`order_of_work`): ``shelter:<id>`` for everything that belongs to
        a shelter's state, ``sheet:<trees>`` for one sheet over several trees, the tree's identifier for what is done
        for one tree. Parts of one group are one visit per deadline, even where they are a few steps apart.
    price_share : float
        Share of the price of its minutes and lifts that these nights have to pay: less than 1 for what serves long
        beyond them, such as paint on bark. The minutes themselves are taken in full. [0-1]
    paint_l : float
        White paint that it takes, of all there is. [L]
    """

    key: str
    kind: PartKind
    name: str
    trees: tuple[str, ...]
    ways: tuple[Way, ...]
    minutes_again: float = 0.0
    minutes_morning: float = 0.0
    minutes_remove: float = 0.0
    stays: bool = True
    deadline: Deadline = "before_dusk"
    sheets: tuple[str, ...] = ()
    device: str | None = None
    watts: float = 0.0
    kwh: float = 0.0
    wear: float = 0.0
    feeds: tuple[Feed, ...] = ()
    room: str | None = None
    position: tuple[float, float] = (0.0, 0.0)
    steps: tuple[str, ...] = ()
    group: str = ""
    price_share: float = 1.0
    paint_l: float = 0.0

    @property
    def quickest(self) -> Way:
        """The way that takes the fewest minutes of people's time; the first of equals."""
        return min(self.ways, key=lambda way: way.minutes * len(way.people))


def order_of_work(parts: Iterable[Part]) -> list[Part]:
    """Give parts of one group in the order in which they are done: by `ORDER_OF_WORK`, then by key."""
    return sorted(parts, key=lambda part: (ORDER_OF_WORK.index(part.kind), part.key))


@dataclass(frozen=True)
class Setting:
    """One state of something that several trees share, such as a standing shelter.

    Attributes
    ----------
    group : str
        What is shared: ``shelter:<id>``, or ``sheet:<trees>`` for trees that one sheet could cover.
    state : str
        ``open``, ``closed`` or ``apart``, ``cover:<material>[/frame]``; all but the first of each also with
        ``+lamps:<id>`` or ``+heater:<id>``.
    name : str
        The same in words.
    parts : tuple of Part
        What has to be done for it; done once for all its trees.
    """

    group: str
    state: str
    name: str
    parts: tuple[Part, ...] = ()

    @property
    def key(self) -> tuple[str, str]:
        """Group and state."""
        return (self.group, self.state)

    @property
    def lamp(self) -> str | None:
        """Lamp string that warms all in it, by its state."""
        return self._device("lamps")

    @property
    def heater(self) -> str | None:
        """Heater that warms all in it, by its state."""
        return self._device("heater")

    def _device(self, kind: str) -> str | None:
        its, _, device = self.state.partition("+")[2].partition(":")
        return device if its == kind else None


@dataclass(frozen=True)
class Measure:
    """What one tree gets on a night: what physics must know of it, and what it takes.

    Attributes
    ----------
    key : str
        ``leave``, ``wet``, ``cover:<material>[/frame][+lamps:<id>|+heater:<id>]``,
        ``together:<trees>:<material>[/frame][+lamps:<id>|+heater:<id>]``,
        ``shelter:<id>[+lamps:<id>|+heater:<id>]``, ``carry:<place>``,
        ``roof:<roof>``, ``roof:<roof>/<face>``, ``wall:<face>``; ``pick``, ``pick-half``, or any of them with
        ``+pick`` or ``+pick-half``; against heat as `plans.shading` names them. Unique among the measures of one tree.
    name : str
        The same in words.
    tree : str
        The tree.
    parts : tuple of Part
        What has to be done for this tree alone.
    requires : tuple of Setting
        States of shared things under which this measure is meant (a tree of a shelter stands in it open or closed).
        A group that is not named does not matter to this measure.
    cover : str or None
        Material of the sheet over the tree.
    on_frame, to_ground : bool
        The sheet is held off the leaves; it reaches the ground all round.
    lamp, heater : str or None
        Lamp string or heater under the cover or in the shelter.
    wet_ground : bool
        The ground is wetted in the afternoon.
    place, roof, wall : str or None
        Indoor place, roof, or face of a wall to which the container goes; roof and wall together where it stands at a
        wall under a roof.
    shelter : str or None
        Standing shelter that is closed over the tree.
    moved_to : tuple of float or None
        Where the container stands then, in the yard's frame. [m, m]
    frame_m : tuple of float or None
        Width, length and height of the frame under a sheet that covers several trees; None: that of this tree. [m]
    heat_share : float
        Share of the power of lamps or heater that falls to this tree, where a cloth over several is computed as if it
        hung round each crown alone. [0-1]
    fruit_picked : float
        Share of its fruit that is picked, and thereby saved. [0-1]
    shade : float
        Share of the sun that shade cloth over the crown keeps off. [0-1]
    in_shade, whitewashed, watered : bool
        The pot stands in a shady place by day; its bark is painted white; it is watered before every hot day.
    """

    key: str
    name: str
    tree: str
    parts: tuple[Part, ...] = ()
    requires: tuple[Setting, ...] = ()
    cover: str | None = None
    on_frame: bool = False
    to_ground: bool = False
    lamp: str | None = None
    heater: str | None = None
    wet_ground: bool = False
    place: str | None = None
    roof: str | None = None
    wall: str | None = None
    shelter: str | None = None
    moved_to: tuple[float, float] | None = None
    frame_m: tuple[float, float, float] | None = None
    heat_share: float = 1.0
    fruit_picked: float = 0.0
    shade: float = 0.0
    in_shade: bool = False
    whitewashed: bool = False
    watered: bool = False

    @property
    def all_parts(self) -> tuple[Part, ...]:
        """Own parts and those of the settings it requires, which are shared with other trees."""
        return self.parts + tuple(part for setting in self.requires for part in setting.parts)

    @property
    def minutes(self) -> float:
        """People's minutes to set it up by the quickest way, shared parts in full. [min]"""
        return sum(part.quickest.minutes * len(part.quickest.people) for part in self.all_parts)

    @property
    def minutes_morning(self) -> float:
        """Minutes on the following morning, shared parts in full. [min]"""
        return sum(part.minutes_morning for part in self.all_parts)

    @property
    def watts(self) -> float:
        """Electrical load. [W]"""
        return sum(part.watts for part in self.all_parts)

    @property
    def kwh(self) -> float:
        """Energy of one night. [kWh]"""
        return sum(part.kwh for part in self.all_parts)

    @property
    def wear(self) -> float:
        """What a night of use wears off the gear, shared parts in full. [currency]"""
        return sum(part.wear for part in self.all_parts)

    @property
    def lifts(self) -> int:
        """Lifts by hand on the evening it is set up, if done the quickest way."""
        return sum(part.quickest.lifts for part in self.all_parts)

    @property
    def needs_ladder(self) -> bool:
        """Whether it cannot be done without a ladder."""
        return any(all(way.ladder for way in part.ways) for part in self.all_parts)

    @property
    def deadline(self) -> Deadline:
        """Deadline of the part that comes first; ``morning`` if nothing has to be done."""
        return min((part.deadline for part in self.all_parts), key=DEADLINES.index, default="morning")
