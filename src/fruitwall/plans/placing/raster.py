"""What every place of a yard would do to trees of some kinds that might be planted there.

Pure data, made once (`service.placing_ground`) and used by all that asks "where": sites, assignment, planting out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.speech import marked

FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.float32]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

Taken = Literal["free", "outside", "building", "wall", "pond", "roof", "paving", "shelter", "trunk", "tree"]
"""What keeps a tree from being planted at a place."""

TAKEN: tuple[Taken, ...] = (
    "free", "outside", "building", "wall", "pond", "roof", "paving", "shelter", "trunk", "tree",
)  # fmt: skip
"""Order of the reason codes; of several reasons the first holds, and 0 is a place where a tree may be planted."""

TAKEN_WORDS: dict[Taken, str] = {
    "free": marked("free ground"),
    "outside": marked("outside the yard, or too near its edge"),
    "building": marked("inside a building"),
    "wall": marked("in a wall or fence"),
    "pond": marked("in water"),
    "roof": marked("under a roof"),
    "paving": marked("on paving"),
    "shelter": marked("inside a standing shelter"),
    "trunk": marked("at the trunk of a big tree"),
    "tree": marked("too near to another tree"),
}
"""The reasons in words."""

STANDABLE: tuple[Taken, ...] = ("free", "roof", "paving", "shelter", "trunk", "tree")
"""Where a plant, at least in a container, can stand: figures are worked out there; elsewhere they are not a number."""


@dataclass(frozen=True)
class Wanted:
    """A tree that might be planted.

    Attributes
    ----------
    taxon : str
        Scientific name in the yard's catalogue.
    age_years : float
        When it is planted. [years]
    height_m, crown_m : float
        Of the crown, when it is planted: top above the ground, and across. [m]
    potted_l : float or None
        Volume of the container in which it stays; None is planted in the ground. [L]
    """

    taxon: str
    age_years: float = 3.0
    height_m: float = 1.5
    crown_m: float = 1.0
    potted_l: float | None = None


@dataclass(frozen=True, eq=False)
class Raster:
    """A yard cut into square cells, and what trees would go through in the middle of each.

    Cells lie row by row, the southern row first and each from west to east. Figures of cells where nothing can stand
    (`STANDABLE`) are not a number. "Lives", "loses" and so on are chances over the winters replayed, by their weights,
    and over all that is unknown of a tree of the kind; nothing is done for it.

    Attributes
    ----------
    columns, rows : int
        Of the grid.
    cell_m : float
        Side of a cell. [m]
    x_m, y_m : ndarray, shape (cell,)
        Middle of every cell, east and north in the yard's frame. [m]
    taken : ndarray of int8, shape (cell,)
        Code in `TAKEN` of what stands against planting there; 0: nothing.
    taken_by : tuple of str, one per cell
        Identifier of the structure, tree or shelter that does; empty where there is none.
    gap_m : ndarray, shape (cell,)
        To the edge of the nearest crown of a tree that stays; below 0 inside of it; infinite without trees. [m]
    wanted : tuple of Wanted
        The kinds, with the size and age assumed. The same taxon may come at several ages.
    names : tuple of str
        Of `wanted`, for the reader.
    winters : tuple of str
        Names such as ``1989/90``.
    weights : ndarray, shape (winter,)
        How likely a coming winter is like each; they sum to one. [-]
    death, bare, fruit, loss : ndarray of float32, shape (kind, cell, winter)
        Chance of death (grade 7); chance of losing most of the leaf or worse (grade 4 and above); expected share of
        fruit that hangs through the winter (NaN for kinds without); expected share of the tree's worth. Each of a whole
        winter, its nights joined. [-]
    survive, leaf_loss, fruit_loss, yearly_loss : ndarray, shape (kind, cell)
        Means of one less `death`, of `bare`, `fruit` and `loss` over the winters, by their weights. [-]
    coldest_c : ndarray of float32, shape (cell, winter)
        Coldest hour of the outer leaves of a broad-leaved tree, of the first body class. [°C]
    ten_years_c : ndarray, shape (cell,)
        The level of it that is not reached in nine winters of ten. [°C]
    winter_sun_h, summer_sun_h : ndarray, shape (cell,)
        Hours a day in which the sun reaches the crown under a clear sky, means over the three darkest and the three
        brightest months; a sun half shaded counts half. [h]
    power_m, tap_m : ndarray, shape (cell,)
        To the nearest outdoor socket, and to the tap, in a straight line; NaN where the yard has none. [m]
    power_by : tuple of str, one per cell
        Circuit of that socket; empty without.
    scorch : ndarray, shape (kind, cell)
        Chance that heat and sun hurt leaves or bark in a summer; NaN where no summer is known. [-]
    canopy, wall : ndarray, shape (cell,)
        Shares of the upper hemisphere that crowns and that walls take, at the height of the first kind. [-]
    colder_k : ndarray, shape (cell,)
        How much colder the air is for a hollow on a clear still night. [K]
    wind : ndarray, shape (cell,)
        Share of the open wind. [-]
    skipped_share : float
        Share of cell-nights that the safe bound left out. [-]
    notes : tuple of str
        What is assumed or in doubt, for the user.
    source : str
        Where the winters come from.
    mark : str
        The same for the same yard, weather, kinds and beliefs: part of the key of everything worked out from it.
    """

    columns: int
    rows: int
    cell_m: float
    x_m: FloatArray
    y_m: FloatArray
    taken: NDArray[np.int8]
    taken_by: tuple[str, ...]
    gap_m: FloatArray
    wanted: tuple[Wanted, ...]
    names: tuple[str, ...]
    winters: tuple[str, ...]
    weights: FloatArray
    death: SmallArray
    bare: SmallArray
    fruit: SmallArray
    loss: SmallArray
    coldest_c: SmallArray
    ten_years_c: FloatArray
    winter_sun_h: FloatArray
    summer_sun_h: FloatArray
    power_m: FloatArray
    power_by: tuple[str, ...]
    tap_m: FloatArray
    scorch: FloatArray
    canopy: FloatArray
    wall: FloatArray
    colder_k: FloatArray
    wind: FloatArray
    skipped_share: float = 0.0
    notes: tuple[str, ...] = ()
    source: str = ""
    mark: str = ""
    survive: FloatArray = field(init=False)
    leaf_loss: FloatArray = field(init=False)
    fruit_loss: FloatArray = field(init=False)
    yearly_loss: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        for name, values in (
            ("survive", 1.0 - self.death.astype(np.float64)),
            ("leaf_loss", self.bare.astype(np.float64)),
            ("fruit_loss", self.fruit.astype(np.float64)),
            ("yearly_loss", self.loss.astype(np.float64)),
        ):
            object.__setattr__(self, name, values @ self.weights)

    @property
    def count(self) -> int:
        """Number of cells."""
        return int(self.x_m.size)

    @property
    def free(self) -> BoolArray:
        """Cells in which a tree may be planted, shape (cell,)."""
        return np.asarray(self.taken == 0)

    @property
    def standable(self) -> BoolArray:
        """Cells for which there are figures, shape (cell,)."""
        return np.isin(self.taken, [TAKEN.index(each) for each in STANDABLE])

    def why_not(self, cell: int) -> Taken:
        """Give what stands against planting in a cell; ``free`` where nothing does."""
        return TAKEN[int(self.taken[cell])]

    def lives(self, years: int) -> FloatArray:
        """Give the chance to live through so many winters in a row, shape (kind, cell). [-]

        Winters are drawn by their weights, one year independent of the next; what is unknown of the tree stays what it
        is, so that it is more than the chance of one winter to the power of the years (see `lives_through`).
        """
        return lives_through(self.death, self.weights, years)

    def cell_at(self, x_m: float, y_m: float) -> int | None:
        """Give the cell in which a point lies; None outside of the grid."""
        column = int(np.floor((x_m - (self.x_m[0] - 0.5 * self.cell_m)) / self.cell_m))
        row = int(np.floor((y_m - (self.y_m[0] - 0.5 * self.cell_m)) / self.cell_m))
        if 0 <= column < self.columns and 0 <= row < self.rows:
            return row * self.columns + column
        return None


def lives_through(death: NDArray[np.float32] | FloatArray, weights: FloatArray, years: int) -> FloatArray:
    """Give the chance to live through so many winters in a row.

    Parameters
    ----------
    death : ndarray, shape (..., winter)
        Chance of death in each winter that may come, over what is unknown of the tree. [-]
    weights : ndarray, shape (winter,)
        How likely a coming winter is like each; they sum to one. [-]
    years : int
        0 or more.

    Returns
    -------
    ndarray, shape (...)
        [-]

    Raises
    ------
    ValueError
        If `years` is negative.

    Notes
    -----
    A tree dies in a winter if its one unknown, z, lies beyond a limit that the winter sets (`plants.injury`), so with
    u = 1 - Φ(z), uniform, it dies in winter w if u < p[w], the winter's chance of death. For a given u a drawn winter
    kills with q(u) = sum of the weights of winters with p[w] > u, and

        P(lives n years) = ∫ (1 - q(u))^n du

    a sum over the steps of q, exact. What stood the worst winter once stands it again.
    """
    if years < 0:
        raise ValueError(f"years must be 0 or more, got {years}")
    p = np.asarray(death, dtype=np.float64)
    order = np.argsort(-p, axis=-1, kind="stable")
    falling = np.take_along_axis(p, order, axis=-1)
    kills = np.cumsum(weights[order], axis=-1)
    below = np.concatenate([falling[..., 1:], np.zeros((*p.shape[:-1], 1))], axis=-1)
    lives = (np.clip(1.0 - kills, 0.0, 1.0) ** years * (falling - below)).sum(axis=-1)
    return np.asarray(1.0 - falling[..., 0] + lives)
