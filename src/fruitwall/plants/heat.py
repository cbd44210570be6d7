"""What heat does a tree stand, and how badly will it be hurt by a hot hour?

Few firm figures are published. Measured are the peel of apples (browning from 46 to 49 °C in an hour of sun, death at
52 °C), the leaves of 41 tropical trees in the laboratory (45.5 to 50.5 °C), the bark of cherries that the sun damaged
(nearly 50 °C), and roots in nursery containers. For no kind of the catalogue was a threshold of scorch in a garden
found. So the limits here are wide, the same for all kinds but for a small lean towards what people who know the crops
believe (`LEAN_PER_K`), and every figure says where it comes from. `docs/season-heat.md` tells the whole.

Temperatures are those of the tissue in its hottest hour. [°C]
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.catalogue import Catalogue, Taxon, catalogue
from fruitwall.plants.effects import youth
from fruitwall.plants.normal import ndtr

Array = NDArray[np.float64]

HeatTissue = Literal["leaf", "fruit", "bark", "root"]
"""What of a tree may be hurt by heat."""

HEAT_TISSUES: tuple[HeatTissue, ...] = ("leaf", "fruit", "bark", "root")


class Normal(NamedTuple):
    """Mean and standard deviation of what is only roughly known. [°C], [K]"""

    mean_c: float
    sd_k: float


# ---------------------------------------------------------------------------------------------- where harm begins

LEAF_C = Normal(48.5, 2.5)
"""Leaf in an hour of heat: at 45.5 to 50.5 °C, in the middle 48 °C, leaves of 41 tropical trees lost half of what
fluorescence shows in the laboratory, within a part of an hour (sastry2017). An hour does as much at about 1.5 K less;
that a leaf turns brown takes some 2 K more. Both steps are our judgement, hence the width. [°C], [K]"""

FRUIT_C = Normal(47.5, 2.5)
"""Sunlit peel: browning of apples from 46 to 49 °C by cultivar, in about an hour of sunlight (schrader2001,
wtfrc2002). The width is that range (1.5 K) and our judgement of how much other fruit differs (2 K); for citrus,
avocado and mango no threshold as firm was found. [°C], [K]"""

BARK_C = Normal(50.0, 3.5)
"""Sunny side of the trunk: cherry trunks with sun damage reached nearly 50 °C on the surface in summer
(sheppard2016); living cells of most plants die within about an hour at 50 °C (from memory: Levitt 1980). Our
judgement joins the two. [°C], [K]"""

ROOT_C = Normal(49.5, 3.0)
"""Roots in the hottest quarter of a pot's rim: at 40 °C for five or six hours they stop growing and working (extension
articles on nursery containers), and half an hour at 48 to 52 °C kills them (electrolyte leakage of ornamental shrubs,
from memory: Ingram and others). The other quarters go on feeding the tree. Our judgement of an hour that shows in leaf.
[°C], [K]"""

LEAN_PER_K = 0.12
USUAL_TOP_C = 36.0
LEAN_MOST_K = 1.5
"""How much a kind's expert code for the highest temperature of growth (EcoCrop, `growth_stops`) leans its leaf and
fruit: so much per kelvin above or below the middle of all codes, at most so much. A code is no observation of scorch:
it says at most who is tougher, so it moves the mean a little and takes nothing from the width. Our judgement. [-],
[°C], [K]"""

SEEDLING_LEAF_K = 2.0
SEEDLING_BARK_K = 2.0
SEEDLING_ROOT_K = 1.0
"""How much less a seedling stands than a grown tree: thin leaves that are still expanding recover more slowly
(coffee_heat2017), thin bark, roots near the wall. Sizes: our judgement; they fade with age as for cold
(`plants.effects.youth`). [K]"""

NEW_YEARS = 1.0
NEW_K = 1.0
"""A tree in its first year after planting has few roots to drink with: so much less leaf and fruit stand, fading to
nothing at this age of planting. Our judgement. [years], [K]"""

POTTED_LEAF_K = 0.5
"""A tree in a pot runs short of water first. Our judgement. [K]"""

SHADE_GROWN_K = Normal(2.5, 0.8)
"""Fruit and leaf freshly moved from shade into sun: peel of apples that had not been used to the sun died 2 to 7 °F
(1.1 to 3.9 K) lower (wtfrc2002). For leaves the same is taken: our judgement. [K], [K]"""

NECROSIS_C = Normal(52.0, 1.0)
BROWNING_C = (46.0, 49.0)
UNUSED_TO_SUN_K = (2.0 * 5.0 / 9.0, 7.0 * 5.0 / 9.0)
NECROSIS_MINUTES = 10.0
BROWNING_MINUTES = 60.0
"""Sunburn of apples (schrader2001; times agvic1443): peel dies at 52 ± 1 °C within ten minutes, browns at 46 to 49 °C
in about an hour in sunlight; not used to the sun, it dies 2 to 7 °F lower. [°C], [°C], [K], [min]"""

NAVEL_BEST_C = (25.0, 30.0)
"""Leaf temperature of the highest photosynthesis of navel oranges (navel_shade2007). [°C]"""

NO_GAIN_C = 45.0
"""Leaf temperature at which nothing is gained any more: about where the tenderest of 41 tropical leaves lose their
function (45.5 °C, sastry2017). [°C]"""

GRADE_STEPS_K: dict[HeatTissue, tuple[float, ...]] = {
    "leaf": (-2.0, 0.0, 2.0, 4.0),
    "fruit": (-1.5, 0.0, 4.5),
    "bark": (-2.0, 0.0, 2.0, 4.0, 6.0, 8.0, 11.0),
    "root": (-8.5, 0.0, 2.0, 3.5, 5.0, 6.5, 8.0),
}
"""How much hotter than where harm begins (grade 2) each grade is reached, from grade 1 on. Leaf that is burnt costs no
twig by itself: it ends with grade 4, most of it lost. Fruit ends with grade 3, for the sun reaches only what hangs at
the outside of the crown, less than half of a crop; the 4.5 K lead from 47.5 to the 52 °C at which peel dies
(schrader2001). The -8.5 K of roots lead to about 40 °C, at which they stop. All others are our judgement. [K]"""


BEARS_UNDER_CROWN = frozenset(
    {
        "annona-muricata", "artocarpus-heterophyllus", "averrhoa-bilimbi", "averrhoa-carambola", "carica-papaya",
        "cocos-nucifera", "durio-zibethinus", "plinia-cauliflora", "syzygium-malaccense", "theobroma-cacao",
        "vasconcellea-pubescens",
    }
)  # fmt: skip
"""Kinds whose fruit hangs on trunk and old limbs or right below the leaves: their own crown shades it, so that no
fruit stands at the outside of the crown (from memory: Morton 1987, Fruits of warm climates; Our judgement which of
those that bear here and there belong to it)."""


# ----------------------------------------------------------------------------------------------- vapour, shade


def leaf_vpd(t_leaf_c: ArrayLike, t_air_c: ArrayLike, rh_percent: ArrayLike) -> Array:
    """Give by how much the vapour pressure inside a leaf exceeds that of the air.

    Parameters
    ----------
    t_leaf_c, t_air_c : array_like, broadcast
        Leaf and air temperature, -50 to 90. [°C]
    rh_percent : array_like, broadcast
        Relative humidity of the air, 0 to 100. [%]

    Returns
    -------
    ndarray, broadcast shape
        Negative where dew forms. NaN gives NaN. [kPa]

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Saturation over water by FAO-56 equation 11 (as `physics.air.saturation_vapour_pressure`, which this layer does not
    know). The air inside a leaf is taken as saturated.

    Examples
    --------
    >>> round(float(leaf_vpd(43.0, 38.0, 20.0)), 2)
    7.31
    """
    leaf = _within("t_leaf_c", t_leaf_c, -50.0, 90.0, "°C")
    air = _within("t_air_c", t_air_c, -50.0, 90.0, "°C")
    humid = _within("rh_percent", rh_percent, 0.0, 100.0, "%")
    return np.asarray(_saturation(leaf) - humid / 100.0 * _saturation(air))


THROWN_BACK = 0.2
"""Share of the light that a layer of cloth stops which it throws back; the rest warms it. Our judgement for dark
knitted cloth; white cloth throws back more. It only matters between layers. [-]"""


def shade(transmission_one: ArrayLike, layers: int = 1) -> Array:
    """Give the share of light that comes through layers of shade cloth.

    Parameters
    ----------
    transmission_one : array_like
        Share that one layer lets through, 0 to 1: a cloth of "70 percent" lets 0.3 through. [-]
    layers : int
        How many lie over each other, 0 to 20.

    Returns
    -------
    ndarray, shape of `transmission_one`
        What comes through all of them, light that goes to and fro between them counted. NaN gives NaN. [-]

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Layers are added one by one: ``T' = T t / (1 - R r)`` and ``R' = R + T² r / (1 - R r)``, r being what one layer
    throws back. Two layers of a net of 0.24 were measured to let 0.07 through (navel_shade2007); this gives 0.059.
    """
    one = _within("transmission_one", transmission_one, 0.0, 1.0, "")
    if not 0 <= layers <= 20:
        raise ValueError(f"layers must be from 0 to 20, got {layers!r}")
    back = THROWN_BACK * (1.0 - one)
    through, thrown = np.ones_like(one), np.zeros_like(one)
    for _ in range(layers):
        between = 1.0 / (1.0 - thrown * back)
        through, thrown = through * one * between, thrown + through**2 * back * between
    return np.asarray(np.where(np.isnan(one), np.nan, through))


def warmth_share(leaf_c: ArrayLike) -> Array:
    """Give the share of its best photosynthesis that a leaf reaches at a temperature, all else the same.

    Parameters
    ----------
    leaf_c : array_like
        -50 to 90. [°C]

    Returns
    -------
    ndarray
        1 between the ends of `NAVEL_BEST_C`, beyond them a parabola that meets zero at `NO_GAIN_C` and as far below;
        never negative. NaN gives NaN. [0-1]

    Raises
    ------
    ValueError
        If a temperature is outside its range.
    """
    leaf = _within("leaf_c", leaf_c, -50.0, 90.0, "°C")
    low, high = NAVEL_BEST_C
    beyond = np.maximum(np.maximum(leaf - high, low - leaf), 0.0) / (NO_GAIN_C - high)
    return np.asarray(np.maximum(1.0 - beyond**2, 0.0))


class Sunburn(NamedTuple):
    """How sunlit peel fares.

    Attributes
    ----------
    browning : ndarray
        Chance that a sunlit fruit browns within about an hour.
    necrosis : ndarray
        Chance that its peel dies within about ten minutes.
    """

    browning: Array
    necrosis: Array


def sunburn(peel_c: ArrayLike, *, used_to_sun: bool = True) -> Sunburn:
    """Give the chance of both kinds of sunburn at a temperature of the peel.

    Parameters
    ----------
    peel_c : array_like
        Surface temperature of the sunny side. [°C]
    used_to_sun : bool
        False for fruit that stood in the shade until now.

    Returns
    -------
    Sunburn
        By what was measured on apples; see `FRUIT_C` for other fruit. NaN gives NaN.
    """
    peel = np.asarray(peel_c, dtype=np.float64)
    lower = 0.0 if used_to_sun else sum(UNUSED_TO_SUN_K) / 2.0
    lower_sd = 0.0 if used_to_sun else (UNUSED_TO_SUN_K[1] - UNUSED_TO_SUN_K[0]) / 4.0
    low, high = BROWNING_C
    browning = ndtr((peel - (0.5 * (low + high) - lower)) / np.hypot(0.25 * (high - low), lower_sd))
    necrosis = ndtr((peel - (NECROSIS_C.mean_c - lower)) / np.hypot(NECROSIS_C.sd_k, lower_sd))
    return Sunburn(np.asarray(browning), np.asarray(necrosis))


# -------------------------------------------------------------------------------------------------- tolerance, harm


@dataclass(frozen=True)
class HeatTolerance:
    """What one tree stands.

    Attributes
    ----------
    leaf_c, fruit_c, bark_c, root_c : Normal
        Temperature of the tissue for an hour at which harm of grade 2 begins. [°C], [K]
    evidence : tuple of str
        Keys of the sources used (`plants/data/sources.csv`, `sources_added.csv`); ``our_judgement`` where there is
        none.
    """

    leaf_c: Normal
    fruit_c: Normal
    bark_c: Normal
    root_c: Normal
    evidence: tuple[str, ...] = ()

    def of(self, tissue: HeatTissue) -> Normal:
        """Give that of one tissue."""
        return {"leaf": self.leaf_c, "fruit": self.fruit_c, "bark": self.bark_c, "root": self.root_c}[tissue]


def heat_tolerance(
    kind: str,
    *,
    age_years: float | None,
    potted: bool,
    catalogue: Catalogue | None = None,
    height_m: float | None = None,
    planted_years: float | None = None,
    from_shade: bool = False,
) -> HeatTolerance:
    """Give what heat a tree stands.

    Parameters
    ----------
    kind : str
        Any name of it.
    age_years, height_m : float or None
        Of the tree, 0 to 500 [years] and up to 40 [m]; None if unknown. A tree of unknown age and height counts as
        grown.
    potted : bool
    catalogue : Catalogue or None
        That of the yard; None for the one that comes with fruitwall.
    planted_years : float or None
        Since it was planted where it stands; None for long ago or unknown. [years]
    from_shade : bool
        Moved from shade into sun in the last weeks.

    Returns
    -------
    HeatTolerance

    Raises
    ------
    UnknownTaxonError
        If no kind is called so.
    ValueError
        If an age or height is outside its range.
    """
    for name, value, most in (("age_years", age_years, 500), ("planted_years", planted_years, 500)):
        if value is not None and not 0 <= value <= most:
            raise ValueError(f"{name} must be from 0 to {most} years, got {value!r}")
    if height_m is not None and not 0 < height_m <= 40:
        raise ValueError(f"height_m must be greater than 0 and at most 40 m, got {height_m!r}")
    known = catalogue or _shipped()
    taxon = known.find(kind)
    young = youth(age_years, height_m)
    lean, told = _lean(taxon, known)
    new = NEW_K * max(0.0, 1.0 - planted_years / NEW_YEARS) if planted_years is not None else 0.0
    unused, unused_sd = SHADE_GROWN_K if from_shade else (0.0, 0.0)
    leaf = lean - new - unused - young * SEEDLING_LEAF_K - (POTTED_LEAF_K if potted else 0.0)
    return HeatTolerance(
        leaf_c=_moved(LEAF_C, leaf, unused_sd),
        fruit_c=_moved(FRUIT_C, lean - new - unused, unused_sd),
        bark_c=_moved(BARK_C, -young * SEEDLING_BARK_K, 0.0),
        root_c=_moved(ROOT_C, -young * SEEDLING_ROOT_K, 0.0),
        evidence=("sastry2017", "schrader2001", "wtfrc2002", "sheppard2016", *told, "our_judgement"),
    )


def heat_harm(hottest_c: ArrayLike, tolerance: HeatTolerance, tissue: HeatTissue) -> Array:
    """Give the chance of each grade of injury after a hottest hour.

    Parameters
    ----------
    hottest_c : array_like [...]
        Mean temperature of the tissue in its hottest hour; NaN where the tree has no such tissue. [°C]
    tolerance : HeatTolerance
    tissue : {"leaf", "fruit", "bark", "root"}

    Returns
    -------
    ndarray [..., 8]
        Chances of grade 0 to 7, summing to one: of the tree for leaf, bark and root; for fruit of its crop, in the same
        grades. NaN gives NaN.

    Raises
    ------
    ValueError
        For another tissue.

    Notes
    -----
    ``P(grade ≥ g) = Φ((T - mean - step[g]) / sd)`` with `GRADE_STEPS_K`. What is not known of the tree is one
    unknown: the mean over ensemble members is the chance under both doubts, and the worst of several days is to be
    taken from the hottest of them, not by multiplying days.
    """
    if tissue not in HEAT_TISSUES:
        raise ValueError(f"tissue must be one of {', '.join(HEAT_TISSUES)}, got {tissue!r}")
    hottest = np.asarray(hottest_c, dtype=np.float64)
    begins, steps = tolerance.of(tissue), np.array(GRADE_STEPS_K[tissue])
    at_least = np.zeros((*hottest.shape, 9))
    at_least[..., 0] = 1.0
    at_least[..., 1 : 1 + steps.size] = ndtr((hottest[..., None] - begins.mean_c - steps) / begins.sd_k)
    chances = at_least[..., :-1] - at_least[..., 1:]
    return np.where(np.isnan(hottest)[..., None], np.nan, chances)


# ----------------------------------------------------------------------------------------------------------- helpers


def _shipped() -> Catalogue:
    """Give the catalogue that comes with fruitwall."""
    return catalogue()


def _lean(taxon: Taxon, known: Catalogue) -> tuple[float, tuple[str, ...]]:
    """Give by how much expert codes lean a kind's limits, and their sources. [K]"""
    codes = [row for row in known.heat(taxon) if row.effect == "growth_stops"]
    if not codes:
        return 0.0, ()
    top = sum(row.temperature_c for row in codes) / len(codes)
    lean = float(np.clip(LEAN_PER_K * (top - USUAL_TOP_C), -LEAN_MOST_K, LEAN_MOST_K))
    return lean, tuple(dict.fromkeys(row.source.key for row in codes))


def _moved(begins: Normal, by_k: float, more_sd_k: float) -> Normal:
    """Shift a limit and widen it."""
    return Normal(begins.mean_c + by_k, float(np.hypot(begins.sd_k, more_sd_k)))


def _saturation(t_c: Array) -> Array:
    """Vapour pressure over water, FAO-56 equation 11. [kPa]"""
    return np.asarray(0.6108 * np.exp(17.27 * t_c / (t_c + 237.3)))


def _within(name: str, value: ArrayLike, low: float, high: float, unit: str) -> Array:
    """Check a range; NaN passes."""
    array = np.asarray(value, dtype=np.float64)
    if np.any((array < low) | (array > high)):
        raise ValueError(f"{name} must be from {low:g} to {high:g} {unit}".rstrip())
    return array
