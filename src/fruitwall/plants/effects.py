"""By how much do age, stage, hardening, hours and the thermometer's place change what a tree stands?

One constant or small function per effect, each with its source or the word *assumption*. `plants.reading` uses
them to bring published figures to one footing, `plants.tolerance` to go from the kind to the tree.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

AIR_TO_TISSUE_K = 1.5
"""How much colder leaf and twig are than the air of a thermometer shelter on a clear still night. [K]

Published limits are nearly all shelter temperatures of such nights. From memory: 1-3 K for leaves and buds in
radiation frost (Snyder and de Melo-Abreu 2005, Frost protection, FAO, chapter 4, warn of the difference); 1-2 K
taken.
"""

AIR_TO_TISSUE_SD_K = 0.7
"""Uncertainty of the former; common to all published figures, so it does not average out. Assumption. [K]"""

AIR_TO_FRUIT_K = 0.5
"""The same for fruit, which cools more slowly; citrus tables are partly fruit temperatures already. Assumption.
[K]"""

USUAL_HOURS = 2.0
"""Hours at the stated temperature where a source gives none (nine rows in ten). Assumption. [h]"""

DURATION_K_PER_LOG2H = 0.5
"""How much milder a freeze of twice the hours may be to hurt as much. [K per doubling]

Two rows of the catalogue hold one source's figures for short and long: carob -7 °C briefly, -4 to -5 °C long (2.5 K),
kiwifruit -10 to -15 °C for one hour, below -9 °C long (3.5 K); from 1 h to a whole cold day of about 16 h are four
doublings, so 0.6-0.9 K each. Laboratory work gives less (ice forms within the first hour): 0.5 with sd 0.25.
"""

DURATION_SD_K_PER_LOG2H = 0.25
"""Uncertainty of the former. [K per doubling]"""

AIR_TO_FRUIT_SD_K = 0.5
"""Uncertainty of the former. Assumption. [K]"""

TREE_SD_K = 1.0
"""How one tree of a kind differs from another of the same age (cultivar, rootstock, vigour, health). [K]

Jaboticaba: some plants stand -4.4 °C, others are hurt at -2.8 °C (crfg_ff_jaboticaba); one avocado cultivar
differs by 1.5 K between two sites (mckellar_hortsci).
"""

SLOPE_K = 0.6
"""Spread within one crown: outer leaves colder and more tender than inner ones. Assumption. [K]"""

PALER_ABOVE_BURN_K = 0.8
"""A leaf turns paler so much above the temperature of its first burn. Assumption. [K]"""

# ------------------------------------------------------------------ age and size

GROWN_AGE_YEARS = 4.0
GROWN_HEIGHT_M = 2.5
"""Age and height by which most of the tenderness of youth is gone (to 37 %).

'Older than 3-4 years' is where EcoCrop draws the line (rambutan); Lynch (1940) calls trees under two years much more
seriously damaged. The shape is an assumption.
"""

YOUNG_GAP_K = 2.0
YOUNG_GAP_PER_K = 0.2
TENDER_WOOD_C = -4.5
YOUNG_GAP_SD_K = 0.7
"""Seedling against grown tree: 2 K in tender kinds, growing by 0.2 K per kelvin of hardiness beyond `TENDER_WOOD_C`.

Pairs of one source, young against grown: longan 1.7 K, carambola 1.4, lychee 3.1, Tahiti lime 0.8 (crane_slides),
sugar apple 2.2 (ifas_mg330), mango 2.5 (popenoe2021), sapodilla more than 2 (fao_ecocrop_view). The growth with
hardiness is an assumption: the young codes of EcoCrop (0 or -1 °C for almost every kind) mean flush or seedlings
without telling which, and are read as flush.
"""

YOUNG_TREE_YEARS = 2.0
"""Age that a source means by 'young tree'. Assumption. [years]"""


def youth(age_years: float | None, height_m: float | None) -> float:
    """Give how much of a seedling's tenderness a tree still has.

    Parameters
    ----------
    age_years, height_m : float or None
        Age and height; None where unknown. Both count if both are known.

    Returns
    -------
    float
        1 for a seedling, falling to 0; 0 if neither is known.
    """
    parts = []
    if age_years is not None:
        parts.append((age_years / GROWN_AGE_YEARS) ** 1.5)
    if height_m is not None:
        parts.append((height_m / GROWN_HEIGHT_M) ** 1.5)
    return float(np.exp(-np.mean(parts))) if parts else 0.0


def young_gap_k(wood_c: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Give how much more tender a seedling is than a grown tree whose wood dies at `wood_c`. [K]"""
    return YOUNG_GAP_K + YOUNG_GAP_PER_K * np.maximum(TENDER_WOOD_C - np.asarray(wood_c, dtype=np.float64), 0.0)


# ------------------------------------------------------------------ how it was raised, water, earlier injury

SEEDLING_SD_K = 0.8
"""How much more one seedling differs from the next than grafted trees and cuttings of one name do. [K]

Every seedling is a cultivar of its own. A Florida grower's report after -7 °C: of some fifty avocado seedlings one was
unhurt and the others burnt to the ground, of some hundred lychees a handful were untouched. Half of the kinds' own
spread (`kinds.SCALES`) taken: assumption. The mean does not move: rootstocks of citrus are said to add or take away
'several degrees' of °F (trifoliate orange adds, rough lemon takes), other growers find seedlings the hardier ones, and
the yard does not name the rootstock; what they differ by is within `TREE_SD_K`.
"""

ROOT_ZONE_K = {"dry": 0.3, "moist": 0.0, "wet": 0.5}
ROOT_ZONE_SD_K = {"dry": 0.8, "moist": 0.0, "wet": 0.7}
"""How much more tender a tree is whose roots have been dry for weeks, or stand in water, and how little is known of it.
[K]

Reports disagree on dry roots: a Meyer lemon kept dry from November to February was unhurt by three hours at -3.3 °C
(Cooper and others, as quoted in a citrus growers' forum from Sinclair, The Grapefruit), while older citrus advice finds
more injury after a dry spell, and in Australian olive groves (-8 to -9 °C) those without irrigation suffered most. So
small and wide, to the side that two of three take. Waterlogged groves were badly hurt in the same olive report, and a
Californian grower blames a waterlogged winter more than its frosts. Sizes: assumption. That dry ground also gives back
less heat at night is physics and not counted here.
"""

EARLIER_INJURY_K = 0.3
EARLIER_INJURY_SD_SHARE = 0.5
"""More tender by so much for each grade of injury from 2 on that the tree carries from earlier in the winter. [K]

Extension texts on citrus (UF/IFAS HS1275) call weak trees the most severely hurt and slowest to recover; a Florida
grower's potted araza, stripped by a chilly spell, died in the next freeze, while trees of other kinds beside it lived.
Size: assumption, known to half of it.
"""


def earlier_injury_k(grade: int) -> float:
    """Give how much more tender a tree is that already carries an injury of this grade, 0 to 7. [K]"""
    return EARLIER_INJURY_K * max(grade - 1, 0)


# ------------------------------------------------------------------ hardening

HARDENING_PER_K = 0.6
HARDENING_MOST_K = 6.0
REST_PER_K = 1.0
HARDENING_START_C = 20.0
HARDENING_FULL_C = 10.0
HARDENING_PUBLISHED = 0.7
HARDENING_UNKNOWN_SD = 0.3
"""What weeks of cold add, by kind and by how cold the weeks were.

Capacity: none in mango seedlings (wood -4 °C), 2.3 K in Mexican avocado after weeks at 6-13 °C (mckellar1983; wood
about -8 °C), 5 K in feijoa (fao_ecocrop_view; wood about -12 °C): 0.6 K per kelvin of hardiness beyond
`TENDER_WOOD_C` goes through all three. Temperate kinds at rest owe all of their hardiness beyond a tender kind's
to it. Ramp from a mean of 20 °C (none) to 10 °C (all): assumption. Published figures are taken to describe trees
that are 0.7 hardened, a usual winter where such trees are grown, give or take 0.3: assumption.
"""


def hardening_capacity_k(wood_c: float, *, at_rest: bool) -> float:
    """Give how much weeks of cold can add to a kind whose wood dies at `wood_c`. [K]

    `at_rest`: a temperate kind that rests leafless, whose limit in leaf is that of a tender one.
    """
    beyond = max(TENDER_WOOD_C - wood_c, 0.0)
    return REST_PER_K * beyond if at_rest else min(HARDENING_PER_K * beyond, HARDENING_MOST_K)


IN_LEAF_SD_K = 1.5
"""How much temperate kinds differ when in leaf, at most. Assumption. [K]"""


def hardened_share(mean_c: float) -> float:
    """Give how far weeks of this mean temperature harden a tree, 0 to 1."""
    return float(np.clip((HARDENING_START_C - mean_c) / (HARDENING_START_C - HARDENING_FULL_C), 0.0, 1.0))


# ------------------------------------------------------------------ organs

GRADE_POSITION = (np.nan, np.nan, 1.0, 0.8, 0.6, 0.4, 0.2, 0.0)
"""Where each grade lies between death of all above the ground (0) and first leaf burn (1). Equal steps: assumption.

Organs of one tree, with roots, flowers and fruit, differ by 4-8 K in hardy kinds and less in tender
ones: sweet orange leaf -3.3 °C, major limbs -3.3 to -4.4 °C, death -7 to -10 °C (lsu_clirette2021, dunn2007,
fao_ecocrop_view).
"""


def organ_gap_k(wood_c: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Give the usual distance from first leaf burn to death of the wood.

    1.2 K in tender kinds, 0.25 K more per kelvin of hardiness beyond -3 °C. The rows as a whole would have it a little
    smaller, sweet orange (about 5 K) larger; `docs/tolerance.md` has the figures.
    """
    return 1.2 + 0.25 * np.maximum(-3.0 - np.asarray(wood_c, dtype=np.float64), 0.0)


ORGAN_GAP_LOG_SD = 0.45
"""How much kinds differ in that distance, as standard deviation of its logarithm. Assumption."""

STUMP_K = {"seedling": 3.0, "cutting": 3.0, "unknown": 3.0, "grafted": 1.2}
"""A tree whose top is killed comes again from stump or root, unless it got colder still by so much. [K]

Published killing temperatures mean the top: in one data base the code that kills white sapote (-2 °C) is milder than
the -3 to -4 °C that its words say kill it to the ground, and banana passion fruit, coded as killed at -5 °C, sprouts
from its roots after that; "killed or severely damaged" is the usual wording (dunn2007, ifas_mg330, crfg_ff_cherimoya).
After the freeze of 1917, -6.1 °C, all Guatemalan avocados of a Californian collection were killed "to the bud", that
is to the graft, and their stocks lived (Webber, told by Krezdorn 1970, Proc. Fla. State Hort. Soc. 83:382-386).

How much colder is published nowhere. 3 K scores best on reported freezes (`bench.backtest_case` prints it), 2.5 to
3.5 K when any one report is left out. Reports alone would have 3 to 4 K, the catalogue's own rows, where a grower's
"lost" is read as dead, about 1 K. It is one fixed number: the far larger doubt about the wood is in the kind's own. Of
a grafted tree only what comes above the graft is the tree that was: a hand's breadth of trunk, so less than half:
assumption.
"""

NEVER_AGAIN = ("Arecaceae",)
"""Families of which nothing comes again: a palm has one growing point, and no bud below it. From memory, botany."""


def stump_k(family: str, origin: str) -> float:
    """Give by how much colder than the death of its top a tree of this family and origin dies. [K]"""
    return 0.0 if family in NEVER_AGAIN else STUMP_K[origin]


FLUSH_C, FLUSH_SD_K = -2.8, 1.2
"""Tissue temperature that kills soft new growth, nearly the same in tender and hardy kinds. [°C], [K]

Shelter figures: mango -1, cherimoya -1.7, kiwifruit -1.5, white sapote -1 to -2, lychee colder than -2, grumichama
-3 °C.
"""

FLUSH_TWIG_K = 1.0
"""Twigs in flush are so much more tender. Assumption. [K]"""

FLUSH_STEP_K = 1.0
"""So much colder than that, so much of a flushing crown is soft that 10 % of the leaf burns. Assumption. [K]"""

FLOWER_C, FLOWER_SD_K = -3.0, 1.0
"""Tissue temperature that takes half of the open flowers. Lemon -2 and -2.8 °C, apricot -1.5 °C in the shelter."""

FRUIT_C, FRUIT_SD_K = -2.7, 1.0
"""Fruit temperature that takes half of the fruit. Citrus fruit -0.8 to -3.3 °C, avocado -2.2 °C, white sapote -1
to -2 °C."""

ROOT_C, ROOT_PER_K, ROOT_SD_K = -2.0, 0.35, 1.5
ROOT_STEP_K = 0.4
"""Roots of a potted tree die at -2 °C, 0.35 K colder per kelvin of the wood's hardiness beyond -2 °C; injury of
each lower grade 0.4 K earlier. From memory: young roots of container-grown shrubs are killed at -5 to -12 °C,
those of the tenderest much earlier, far less hardy than their tops (Havis 1976; Studer and others 1978). Extension
to tender kinds: assumption.
"""


def root_c(wood_c: float) -> float:
    """Give the root temperature that kills a potted tree. [°C]"""
    return ROOT_C - ROOT_PER_K * max(ROOT_C - wood_c, 0.0)


# ------------------------------------------------------------------ chilling above freezing

CHILL_C, CHILL_SD_K = 5.0, 3.0
"""Leaf temperature of an eight-hour night that burns some leaf of an ultra-tropical kind, where nothing is published.

A little below the kinds with figures (5 to 9 °C), which have them because they are the worst. Assumption. [°C], [K]
"""

CHILL_CODE_ABOVE_K = 2.0
"""First burn lies so much above a data base's 'killing temperature' above freezing. Assumption. [K]"""

CHILL_DOSE_K_H = (np.nan, 8.0, 20.0, 36.0, 56.0, np.nan, np.nan, np.nan)
"""Degree-hours below the chill level for grades 1-4: 1, 2.5, 4.5 and 7 K below it for eight hours. Assumption."""

CHILL_YOUNG_K = 1.0
"""A seedling suffers at so much milder nights. Assumption. [K]"""

CHILL_HARDENING_K = 5.0
CHILL_HARDENING_PUBLISHED = 0.5
"""What weeks of cold add against chilling: 5-6 K in coconut (broschat_mg318: 7 °C when used to warm nights, -1 to
2 °C after weeks of cooling); for other kinds an assumption. Published levels are taken to describe half-hardened
trees."""

PALE_C, PALE_SD_K = 10.0, 3.0
PALE_WOOD_C = -5.6
PALE_PER_K = 1.0
"""Leaf temperature of nights below which an evergreen's leaf loses chlorophyll in the sun of the days between.

Mango in the field, Queensland: chlorophyll fell and rose again through the winter with the night minima, no recovery
at 10 °C, more in the poly-embryonic cultivars of the hot tropics (Sukhvibul, Whiley, Smith and Hetherington 2000,
Aust. J. Agric. Res. 51:503-513, abstract; year and volume from memory). Mango and avocado, nights at or below 10 °C:
inhibited by half (Whiley and others 1999, J. Amer. Soc. Hort. Sci. 124:46-51, abstract). `PALE_WOOD_C` is mango's
wood; that a hardier kind pales at so much colder nights, and the spread between kinds: assumption. [°C], [K], [K per K]
"""

PALE_MEMORY = 0.9
"""Share of a night's loss of chlorophyll that is left a day later. None comes back at 10 °C, within a day or so it does
at 20 °C (Sukhvibul and others): between on cool winter days, assumption."""

PALE_NIGHTS, PALE_NIGHT_C = 7, 4.0
PALE_DOSE_K_H = 8.0 * (PALE_C - PALE_NIGHT_C) * (1.0 - PALE_MEMORY**PALE_NIGHTS) / (1.0 - PALE_MEMORY)
"""Degree-hours, carried over with `PALE_MEMORY`, that make a leaf paler (grade 1); more is not caused so. [K h]

Seven nights at 4 °C, days in the open between, lowered the chlorophyll of potted mangoes, and hindered them more in
full sun than in half of it (Elsheery, Wilske and Cao 2008, Plant Diversity 30:447-456, abstract). That this is what the
eye sees as paler is an assumption; the light of the days is not counted.
"""
