"""How heat moves in and out of soil, paving, walls, pots and fruit: conduction in one dimension.

A body is cut into fine cells. Its conduction equations are linear, so that they split into independent terms that
each relax at their own rate; over one step every term is solved exactly for a surface temperature that changes in
a straight line. `Slab.march` uses all terms. The night kernel uses the few terms of `Slab.terms`, which answer the
surface within about one per cent at every period that a step can show.

Freezing of water inside is left out here (see `physics.rootball` for pots).

References
----------
.. [1] Carslaw, H. S. and Jaeger, J. C. (1959). Conduction of Heat in Solids, 2nd ed. Oxford.
.. [2] Gawronski, W. and Juang, J.-N. (1990). Model reduction in limited time and frequency intervals. Int. J.
   Systems Sci. 21:349-376 (from memory).
.. [3] Liu, Y. and Anderson, B. D. O. (1989). Singular perturbation approximation of balanced systems. Int. J.
   Control 50:1379-1405 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import Range, check_range
from fruitwall.physics.faces import Layer

FloatArray = NDArray[np.float64]
Shape = Literal["plane", "cylinder", "sphere"]
Behind = Literal["insulated", "held", "surface"]

FIRST_CELL_M = 0.002
"""Thickness of the cell at the surface. [m]"""

SLOWEST_S = 60 * 86_400.0
"""Changes slower than this need not be kept apart when terms are reduced. [s]"""

POSITIVE = {
    "thickness_m": Range(0.0, 100.0, "m", low_open=True),
    "conductivity_w_mk": Range(0.0, 500.0, "W/(m K)", low_open=True),
    "density_kg_m3": Range(0.0, 20_000.0, "kg/m³", low_open=True),
    "heat_capacity_j_kgk": Range(0.0, 10_000.0, "J/(kg K)", low_open=True),
}
STEP = Range(0.0, 86_400.0, "s", low_open=True)


@dataclass(frozen=True, eq=False)
class Terms:
    """A body as a few relaxing terms, made for one length of step.

    With the surface temperature s and the temperature b behind (each old and new), a step is
    ``z = decay z + old @ (s, b)_old + new @ (s, b)_new``, the heat flowing in at the surface is
    ``direct @ (s, b)_new - weight @ z`` and that flowing in at the back ``direct_back @ (s, b)_new - weight_back @ z``.

    Attributes
    ----------
    decay, weight : ndarray, shape (term,)
        Share of a term that is left after a step [-], and how strongly it feeds the surface [W/m² per unit].
    old, new : ndarray, shape (term, 2)
        Response to surface and back temperature at the start and the end of the step.
    direct : ndarray, shape (2,)
        Flux into the surface per kelvin of surface and of back temperature. [W/(m² K)]
    weight_back, direct_back : ndarray, shapes (term,), (2,)
        The same for what flows in at the back.
    rest : ndarray, shape (term, 2)
        Terms per kelvin of steady surface and back temperature.
    depth_m : ndarray, shape (cell,)
        Middle of the cells. [m]
    profile, profile_direct, project : ndarray, shapes (cell, term), (cell, 2), (term, cell)
        From terms and boundary temperatures to cell temperatures, and back.
    """

    decay: FloatArray
    weight: FloatArray
    old: FloatArray
    new: FloatArray
    direct: FloatArray
    weight_back: FloatArray
    direct_back: FloatArray
    rest: FloatArray
    depth_m: FloatArray = field(repr=False)
    profile: FloatArray = field(repr=False)
    profile_direct: FloatArray = field(repr=False)
    project: FloatArray = field(repr=False)

    def reading(self, depth_m: float) -> tuple[FloatArray, FloatArray]:
        """Give the weights by which terms and boundary temperatures make the temperature at a depth.

        Parameters
        ----------
        depth_m : float
            Below the surface. [m]

        Returns
        -------
        ndarray, shape (term,)
            Weights of the terms.
        ndarray, shape (2,)
            Weights of surface and back temperature.
        """
        falls = np.flatnonzero(np.diff(self.depth_m) <= 0)  # slabs side by side: read in the first of them
        first = self.depth_m[: falls[0] + 1] if falls.size else self.depth_m
        nodes = np.concatenate(([0.0], first))
        share = np.array([np.interp(depth_m, nodes, row) for row in np.eye(nodes.size)])
        surface = np.array([share[0], 0.0])
        cells = slice(0, first.size)
        return share[1:] @ self.profile[cells], share[1:] @ self.profile_direct[cells] + surface

    def into(self, other: Terms, keeps: FloatArray | float = 1.0) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Give the map from these terms to those of another material with the same cells.

        Parameters
        ----------
        other : Terms
            What the body becomes, for instance the same soil after watering.
        keeps : ndarray, shape (cell,), or float
            Share of its temperature that every cell keeps; the rest is that of what comes in. [0-1]

        Returns
        -------
        ndarray, shape (other's term, term)
            Matrix on the terms.
        ndarray, shape (other's term, 2)
            Matrix on surface and back temperature.
        ndarray, shape (other's term,)
            Factor of the temperature of what comes in.
        """
        if other.depth_m.shape != self.depth_m.shape or not np.allclose(other.depth_m, self.depth_m):
            raise ValueError("other must have the same cells as these terms")
        kept = np.broadcast_to(np.asarray(keeps, dtype=np.float64), self.depth_m.shape)
        project = other.project * kept
        return project @ self.profile, project @ self.profile_direct, other.project @ (1.0 - kept)


@dataclass(frozen=True, eq=False)
class Course:
    """What `Slab.march` gives.

    Attributes
    ----------
    surface_c : ndarray, shape (step + 1,)
        Surface temperature, start included. [°C]
    flux_w_m2 : ndarray, shape (step + 1,)
        Heat flowing into the surface. [W/m²]
    temperature_c : ndarray, shape (step + 1, depth)
        At the depths asked for. [°C]
    back_flux_w_m2 : ndarray, shape (step + 1,)
        Heat flowing in at the back. [W/m²]
    """

    surface_c: FloatArray
    flux_w_m2: FloatArray
    temperature_c: FloatArray
    back_flux_w_m2: FloatArray


class Slab:
    """A wall, paving, soil, pot or fruit that conducts heat in one direction.

    Parameters
    ----------
    layers : sequence of Layer
        From the surface inwards; of a cylinder or sphere they end at the axis or centre.
    behind : {"insulated", "held", "surface"}
        Nothing flows at the far end, or the temperature behind is given; "surface": it is a second surface, as lively
        as the first.
    back_resistance_m2kw : float
        Between the last layer and the temperature behind, if held. [m² K/W]
    shape : {"plane", "cylinder", "sphere"}
        Plane slab; long cylinder or sphere whose radius is the sum of the layers. Fluxes are per m² of outer surface.
    cells : int
        How finely it is cut, 8 to 400.

    Raises
    ------
    ValueError
        If a property is outside its range.

    Notes
    -----
    Cells grow in a geometric series from 2 mm at the surface, or at both (less if the body is thin).
    """

    def __init__(
        self,
        layers: Sequence[Layer],
        *,
        behind: Behind = "insulated",
        back_resistance_m2kw: float = 0.0,
        shape: Shape = "plane",
        cells: int = 60,
    ) -> None:
        if not layers:
            raise ValueError("layers must hold at least one layer, got none")
        for layer in layers:
            for name, allowed in POSITIVE.items():
                check_range(name, getattr(layer, name), allowed)
        if behind not in ("insulated", "held", "surface"):
            raise ValueError(f'behind must be "insulated", "held" or "surface", got {behind!r}')
        if shape not in ("plane", "cylinder", "sphere"):
            raise ValueError(f'shape must be "plane", "cylinder" or "sphere", got {shape!r}')
        check_range("back_resistance_m2kw", back_resistance_m2kw, Range(0.0, 100.0, "m² K/W"))
        check_range("cells", cells, Range(8, 400))
        edges = _edges(layers, cells, both_ends=behind == "surface")
        depth = (edges[:-1] + edges[1:]) / 2
        which = np.searchsorted(np.cumsum([layer.thickness_m for layer in layers])[:-1], depth)
        conductivity = np.array([layer.conductivity_w_mk for layer in layers])[which]
        capacity = np.array([layer.density_kg_m3 * layer.heat_capacity_j_kgk for layer in layers])[which]
        area, volume = _areas_and_volumes(edges, shape)
        half = np.diff(edges) / 2 / conductivity
        between = area[1:-1] / (half[:-1] + half[1:])
        front = np.zeros(depth.size)
        front[0] = area[0] / half[0]
        back = np.zeros(depth.size)
        if behind != "insulated":
            back[-1] = area[-1] / (half[-1] + back_resistance_m2kw)
        self._set(depth, capacity * volume, between, front, back)

    def _set(
        self, depth: FloatArray, capacity: FloatArray, between: FloatArray, front: FloatArray, back: FloatArray
    ) -> None:
        """Store the network of cells and split it into its relaxing modes."""
        self.depth_m = depth
        self.capacity_j_m2k = capacity
        self._front, self._between, self._back = front, between, back
        conduction = np.diag(front + back)
        index = np.arange(between.size)
        conduction[index, index] += between
        conduction[index + 1, index + 1] += between
        conduction[index, index + 1] -= between
        conduction[index + 1, index] -= between
        root = np.sqrt(capacity)
        rate, vectors = np.linalg.eigh(conduction / np.outer(root, root))
        self._rate = np.maximum(rate, 1e-12)
        self._modes = vectors
        self._inputs = vectors.T @ (np.column_stack([front, back]) / root[:, None])
        self._root = root

    @classmethod
    def beside(cls, parts: Sequence[tuple[float, Slab]]) -> Slab:
        """Lay slabs side by side under one common surface temperature.

        Parameters
        ----------
        parts : sequence of (float, Slab)
            Share of the surface and slab; shares sum to one.

        Returns
        -------
        Slab
            Answers the surface like the share-weighted sum of its parts. Depths read from it are those of the first.
        """
        shares = [share for share, _ in parts]
        if not parts or abs(sum(shares) - 1.0) > 1e-9 or min(shares) <= 0:
            raise ValueError(f"shares must be positive and sum to 1, got {shares!r}")
        if len(parts) == 1:
            return parts[0][1]
        whole = cls.__new__(cls)
        betweens: list[FloatArray] = []
        for share, slab in parts:
            if betweens:
                betweens.append(np.zeros(1))
            betweens.append(share * slab._between)
        whole._set(
            np.concatenate([slab.depth_m for _, slab in parts]),
            np.concatenate([share * slab.capacity_j_m2k for share, slab in parts]),
            np.concatenate(betweens),
            np.concatenate([share * slab._front for share, slab in parts]),
            np.concatenate([share * slab._back for share, slab in parts]),
        )
        return whole

    def terms(self, step_s: float, count: int = 6) -> Terms:
        """Reduce the body to a few relaxing terms that suit a step.

        Parameters
        ----------
        step_s : float
            Length of the steps it will be marched with. [s]
        count : int
            How many terms, at least 1; 6 for steps of 15 min and more, 8 for 5 min.

        Returns
        -------
        Terms

        Notes
        -----
        The response to the surface is weighed over the frequencies that such a step can show [2]_, its strongest
        directions are kept and the rest follows at once [3]_, so that steady states stay exact. Because the
        conduction matrix is symmetric all rates come out real and positive.
        """
        check_range("step_s", step_s, STEP)
        check_range("count", count, Range(1, 400))
        rate, inputs = self._rate, self._inputs
        if count < rate.size:
            seen = np.arctan(np.pi / (step_s * rate))
            window = (seen[:, None] + seen[None, :]) / np.pi
            gramian = (inputs @ inputs.T) / (rate[:, None] + rate[None, :] + 2 / SLOWEST_S) * window
            _, directions = np.linalg.eigh(gramian)
            kept, rest = directions[:, ::-1][:, :count], directions[:, ::-1][:, count:]
            a11, a12, a22 = ((x.T * rate) @ y for x, y in ((kept, kept), (kept, rest), (rest, rest)))
            follow = np.linalg.solve(a22, np.column_stack([rest.T @ inputs, a12.T]))
            b2, a21 = follow[:, :2], follow[:, 2:]
            rate_r, turn = np.linalg.eigh(a11 - a12 @ a21)
            inputs_r = turn.T @ (kept.T @ inputs - a12 @ b2)
            at_once = inputs.T @ rest @ b2
            state = kept @ turn - rest @ (a21 @ turn)
            state_direct = rest @ b2
            project = turn.T @ kept.T
        else:
            rate_r, inputs_r, at_once = rate, inputs, np.zeros((2, 2))
            state, state_direct, project = np.eye(rate.size), np.zeros((rate.size, 2)), np.eye(rate.size)
        x = rate_r * step_s
        decay = np.exp(-x)
        ramp = -np.expm1(-x) / x
        return Terms(
            decay=decay,
            weight=inputs_r[:, 0].copy(),
            old=inputs_r * ((ramp - decay) / rate_r)[:, None],
            new=inputs_r * ((1.0 - ramp) / rate_r)[:, None],
            direct=np.array([self._front.sum(), 0.0]) - at_once[0],
            weight_back=inputs_r[:, 1].copy(),
            direct_back=np.array([0.0, self._back.sum()]) - at_once[1],
            rest=inputs_r / rate_r[:, None],
            depth_m=self.depth_m,
            profile=(self._modes @ state) / self._root[:, None],
            profile_direct=(self._modes @ state_direct) / self._root[:, None],
            project=project @ (self._modes.T * self._root),
        )

    def march(
        self,
        step_s: float,
        *,
        start_c: float,
        surface_c: ArrayLike | None = None,
        flux_w_m2: ArrayLike | None = None,
        t_air_c: ArrayLike | None = None,
        h_w_m2k: float = 0.0,
        back_c: ArrayLike | None = None,
        depths_m: Sequence[float] = (),
        count: int | None = None,
    ) -> Course:
        """March the body from one uniform temperature.

        Give either the surface temperature, or what the surface receives: an absorbed flux, an exchange
        ``h_w_m2k (t_air_c - surface)``, or both.

        Parameters
        ----------
        step_s : float
            Time step. [s]
        start_c : float
            Uniform temperature at the start. [°C]
        surface_c, flux_w_m2, t_air_c : array_like, shape (step,)
            Surface temperature [°C], absorbed flux [W/m²], air temperature [°C], each at the end of every step; the
            surface temperature runs straight from value to value.
        h_w_m2k : float
            Surface coefficient. [W/(m² K)]
        back_c : array_like, shape (step,)
            Temperature behind, if it is held there; `start_c` if left out. [°C]
        depths_m : sequence of float
            Where to read temperatures; 0 is the surface. [m]
        count : int or None
            Number of relaxing terms; None takes one for each cell.

        Returns
        -------
        Course

        Raises
        ------
        ValueError
            If neither or both kinds of surface are given, or lengths differ.
        """
        if (surface_c is None) == (flux_w_m2 is None and t_air_c is None):
            raise ValueError("give either surface_c, or flux_w_m2 and/or t_air_c with h_w_m2k")
        check_range("h_w_m2k", h_w_m2k, Range(0.0, 1e6, "W/(m² K)"))
        given = [
            np.atleast_1d(np.asarray(a, np.float64)) for a in (surface_c, flux_w_m2, t_air_c, back_c) if a is not None
        ]
        steps = max(a.size for a in given)
        if any(a.size not in (1, steps) for a in given):
            raise ValueError(f"all courses must have the same length, got {[a.size for a in given]}")
        terms = self.terms(step_s, self._rate.size if count is None else count)
        back = np.broadcast_to(np.asarray(start_c if back_c is None else back_c, np.float64), steps)
        heat = np.broadcast_to(np.asarray(0.0 if flux_w_m2 is None else flux_w_m2, np.float64), steps)
        air = np.broadcast_to(np.asarray(start_c if t_air_c is None else t_air_c, np.float64), steps)
        held = None if surface_c is None else np.broadcast_to(np.asarray(surface_c, np.float64), steps)
        z = terms.rest @ np.array([start_c, start_c])
        old = np.array([start_c, start_c], dtype=np.float64)
        readings = [terms.reading(d) for d in depths_m]
        own = terms.direct[0] - terms.weight @ terms.new[:, 0]
        surface, flux, flux_back = np.empty(steps + 1), np.zeros(steps + 1), np.zeros(steps + 1)
        inside = np.empty((steps + 1, len(readings)))
        surface[0], inside[0] = start_c, start_c
        for i in range(steps):
            known = terms.decay * z + terms.old @ old + terms.new[:, 1] * back[i]
            given_back = terms.weight @ known - terms.direct[1] * back[i]
            s = held[i] if held is not None else (heat[i] + h_w_m2k * air[i] + given_back) / (own + h_w_m2k)
            z = known + terms.new[:, 0] * s
            old = np.array([s, back[i]])
            surface[i + 1], flux[i + 1] = s, own * s - given_back
            flux_back[i + 1] = terms.direct_back @ old - terms.weight_back @ z
            inside[i + 1] = [w @ z + d @ old for w, d in readings]
        return Course(surface, flux, inside, flux_back)


def _growing(whole: float, cells: int) -> FloatArray:
    """Sizes of cells that grow geometrically over a length."""
    first = min(FIRST_CELL_M, whole / cells)
    low, high = 1.0, 2.0
    for _ in range(60):
        growth = (low + high) / 2
        length = first * cells if growth - 1 < 1e-12 else first * (growth**cells - 1) / (growth - 1)
        low, high = (growth, high) if length < whole else (low, growth)
    return np.asarray(first * growth ** np.arange(cells))


def _edges(layers: Sequence[Layer], cells: int, *, both_ends: bool) -> FloatArray:
    """Cell edges, close together at the surface (or at both) and at every boundary between layers."""
    whole = sum(layer.thickness_m for layer in layers)
    if both_ends:
        half = _growing(whole / 2, -(-cells // 2))
        sizes = np.concatenate((half, half[::-1]))
    else:
        sizes = _growing(whole, cells)
    edges = np.concatenate(([0.0], np.cumsum(sizes)))
    edges *= whole / edges[-1]
    for boundary in np.cumsum([layer.thickness_m for layer in layers])[:-1]:
        nearest = int(np.argmin(np.abs(edges[1:-1] - boundary))) + 1
        edges[nearest] = boundary
    if any(after - before <= 0 for before, after in pairwise(edges)):
        raise ValueError("layers are too thin for the number of cells; give fewer layers or more cells")
    return edges


def _areas_and_volumes(edges: FloatArray, shape: Shape) -> tuple[FloatArray, FloatArray]:
    """Areas of the cell edges and volumes of the cells, per m² of outer surface."""
    radius = edges[-1] - edges
    power = {"plane": 0, "cylinder": 1, "sphere": 2}[shape]
    if power == 0:
        return np.ones(edges.size), np.diff(edges)
    area = (radius / radius[0]) ** power
    volume = -np.diff(radius ** (power + 1)) / (power + 1) / radius[0] ** power
    return area, volume
