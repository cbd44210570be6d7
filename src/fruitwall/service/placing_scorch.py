"""How likely is it that heat and sun hurt a tree in a summer, at very many places of a yard?

The hottest days of every summer, hour by hour: leaf and bark in the sun by `physics.daylight`, the harm by
`plants.heat`. As `service.heat_around` has it for the trees of a yard, but for the walls: theirs is the steady warmth
of what the sun puts into them at that hour, not a march through the days.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.kept import Kept

if TYPE_CHECKING:
    from fruitwall.physics.daylight import Daylight
    from fruitwall.physics.faces import Face
    from fruitwall.physics.spot import Spot
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Tree, Yard

FloatArray = NDArray[np.float64]

DAYS = 3
"""Hottest days of a summer that are looked at: which is the worst at a place hangs on its shade. Our judgement."""

MOST_SUMMERS = 15
"""The newest summers that are looked at: a mean over more of them moves little, and takes long. Our judgement."""

KNOWN_DAYS = 60
"""A summer of whose brightest half year fewer days are known is left out. Our judgement. [d]"""

LEAST_SUN_W_M2 = 200.0
"""Hours with less sun than this scorch nothing. Our judgement. [W/m²]"""

SUN_COUNTS_K = 0.012
"""By how much a watt per square metre of sun makes an hour count as hotter, to choose days: about what it does to a
sunlit leaf in light wind. Our judgement. [K m²/W]"""

WALL_KEEPS = 0.7
WALL_LOSES_W_M2K = 20.0
"""Of the sun that a wall takes up so much is given off at once by its surface, through so much per kelvin, air and
longwave together; the rest goes into the masonry. Our judgement, for afternoons. [-], [W/(m² K)]"""

HARM = 2
"""Grade from which injury counts as harm."""


class _Hot(NamedTuple):
    """Weather of the hottest days of all summers, shape (hour,), and to which summer each hour belongs."""

    time_utc: NDArray[np.datetime64]
    t_air_c: FloatArray
    t_dew_c: FloatArray
    wind_m_s: FloatArray
    cloud: FloatArray
    sun_w_m2: FloatArray
    summer: NDArray[np.int64]
    summers: int


def scorch(
    yard: Yard,
    spots: Sequence[Spot],
    years: Sequence[Forcing],
    taxon: Taxon,
    tree: Tree,
    age_years: float,
    known: Catalogue,
    felt: dict[object, FloatArray] | None = None,
) -> FloatArray:
    """Give the chance that a summer's heat hurts leaf or bark (grade 2 or worse).

    Parameters
    ----------
    yard : Yard
    spots : sequence of Spot
        In leaf.
    years : sequence of Forcing, one member each
        Years of hourly weather; those without a summer count for nothing.
    taxon : Taxon
    tree : Tree
        Its size and container.
    age_years : float
        In its first year after planting. [years]
    known : Catalogue
    felt : dict, optional
        Of these places alone: what was worked out for other kinds and holds for this one too is taken from it, and
        what is new put into it. Many kinds have leaves of the same width.

    Returns
    -------
    ndarray, shape (spot,)
        Mean over summers; NaN where no summer is known. [-]
    """
    from fruitwall.physics import daylight as day
    from fruitwall.plants.heat import heat_harm, heat_tolerance
    from fruitwall.service.treatments import LEAFY_AREA_INDEX, body_of

    hot = _HOT.of(*years, key=yard.location, make=lambda: _hottest(years, yard))
    if hot is None or not spots:
        return np.full(len(spots), np.nan)
    body = body_of(tree.model_copy(update={"stages": ["leafy"]}), taxon)
    foliage = 1.0 - float(np.exp(-0.5 * LEAFY_AREA_INDEX))
    felt = {} if felt is None else felt
    stands = heat_tolerance(
        taxon.scientific, age_years=age_years, potted=tree.container is not None, catalogue=known,
        height_m=tree.height_m, planted_years=0.5,
    )  # fmt: skip
    bark = body.wood_diameter_m, tree.crown_base_m, tree.crown_diameter_m
    if ("leaf", body.leaf_width_m) not in felt or ("bark", bark) not in felt:
        light = _daylight(yard, spots, hot, foliage)
        lit = day.own_shade(light.elevation_deg, 0.5 * tree.crown_base_m, tree.crown_diameter_m, foliage)
        felt["leaf", body.leaf_width_m] = _hottest_of_each(day.sunlit_leaf_c(light, body.leaf_width_m), hot)
        felt["bark", bark] = _hottest_of_each(day.sunlit_bark_c(light, body.wood_diameter_m, lit), hot)
    none = 1.0 - heat_harm(felt["leaf", body.leaf_width_m], stands, "leaf")[..., HARM:].sum(axis=-1)
    none = none * (1.0 - heat_harm(felt["bark", bark], stands, "bark")[..., HARM:].sum(axis=-1))
    return np.asarray(1.0 - none.mean(axis=1))


def _hottest_of_each(felt_c: FloatArray, hot: _Hot) -> FloatArray:
    """Give the hottest hour of every summer, shape (spot, summer), of tissues by hour, shape (spot, hour). [°C]"""
    return np.stack([felt_c[:, hot.summer == summer].max(axis=1) for summer in range(hot.summers)], axis=1)


_HOT: Kept[_Hot | None] = Kept(2)
_FACES: Kept[tuple[list[Face], FloatArray, FloatArray]] = Kept(2)


def _hottest(years: Sequence[Forcing], yard: Yard) -> _Hot | None:
    """Choose the hottest days of the brightest half year of all years."""
    rows: list[tuple[NDArray[np.datetime64], FloatArray]] = []
    north = yard.location.latitude_deg >= 0.0
    zone = np.timedelta64(round(yard.location.longitude_deg * 4.0), "m")
    by_summer: dict[int, list[tuple[NDArray[np.datetime64], FloatArray]]] = {}
    for year in years:
        local = year.time_utc + zone
        month = local.astype("datetime64[M]").astype(int) % 12 + 1
        bright = (month >= 4) & (month <= 9) if north else (month <= 3) | (month >= 10)
        # A southern summer is named by the year in which it begins.
        name = (local.astype("datetime64[M]") - np.timedelta64(0 if north else 6, "M")).astype("datetime64[Y]")
        values = np.stack(
            [getattr(year, each)[0] for each in ("t_air_c", "t_dew_c", "wind_m_s", "cloud", "shortwave_w_m2")]
        )
        values[2] *= _wind_factor(year.wind_height_m)
        for summer in np.unique(name[bright]):
            its = bright & (name == summer)
            by_summer.setdefault(int(summer.astype(int)), []).append((year.time_utc[its], values[:, its]))
    count = 0
    summer_of: list[NDArray[np.int64]] = []
    for _, pieces in sorted(by_summer.items())[::-1]:
        time = np.concatenate([piece[0] for piece in pieces])
        values = np.concatenate([piece[1] for piece in pieces], axis=1)
        days = (time + zone).astype("datetime64[D]")
        names, first = np.unique(days, return_inverse=True)
        if names.size < KNOWN_DAYS or count == MOST_SUMMERS:
            continue
        heat = values[0] + SUN_COUNTS_K * values[4]
        worst = np.full(names.size, -np.inf)
        np.maximum.at(worst, first, heat)
        chosen = np.argsort(-worst, kind="stable")[:DAYS]
        its = np.isin(first, chosen) & (values[4] >= LEAST_SUN_W_M2)
        if its.any():
            rows.append((time[its], values[:, its]))
            summer_of.append(np.full(int(its.sum()), count))
            count += 1
    if not rows:
        return None
    air, dew, wind, cloud, sun = np.concatenate([values for _, values in rows], axis=1)
    time = np.concatenate([times for times, _ in rows])
    return _Hot(time, air, np.minimum(dew, air), wind, np.clip(cloud, 0.0, 1.0), sun, np.concatenate(summer_of), count)


def _wind_factor(height_m: float) -> float:
    """Wind at 2 m over that at the height of a forcing."""
    from fruitwall.weather.wind import wind_at_height

    return float(wind_at_height(1.0, height_m, 2.0))


def _daylight(yard: Yard, spots: Sequence[Spot], hot: _Hot, foliage: float) -> Daylight:
    """Give what places have around them in the hot hours, shape (spot, hour)."""
    from fruitwall.physics.air import saturation_vapour_pressure
    from fruitwall.physics.cases import wind_profile
    from fruitwall.physics.daylight import Daylight, black_body_w_m2, brightest_beam, ground_c, stirred_wind_m_s
    from fruitwall.physics.sky import BEST_BY_EVIDENCE, longwave_down
    from fruitwall.physics.spot import sun_visibility
    from fruitwall.physics.sun import extraterrestrial, split_global, sun_position

    place = yard.location.latitude_deg, yard.location.longitude_deg
    middle = hot.time_utc - np.timedelta64(1800, "s")
    sun, outside = sun_position(middle, *place), extraterrestrial(middle)
    light = split_global(hot.sun_w_m2, sun.elevation_deg, outside)
    height = np.sin(np.radians(np.maximum(sun.elevation_deg, 5.0)))
    facing = np.minimum(light.beam / height, brightest_beam(sun.elevation_deg, outside))
    seen = np.array([sun_visibility(spot, sun.azimuth_deg, sun.elevation_deg) for spot in spots])

    def each(name: str) -> FloatArray:
        """Give one figure of every spot as a column."""
        return np.array([getattr(spot, name) for spot in spots])[:, None]

    air = hot.t_air_c + each("learned_k")
    level = seen * light.beam + each("diffuse_share") * light.diffuse
    profile = np.array([wind_profile(spot.height_m) for spot in spots])[:, None]
    # Wind is known at 2 m; `wind_profile` is over that at 10 m.
    reach = each("wind_share") * profile
    wind = np.hypot(hot.wind_m_s * reach / wind_profile(2.0), reach * stirred_wind_m_s(hot.sun_w_m2, hot.t_air_c))
    faces, warmth, thrown = _walls(yard, hot, facing, light.diffuse, sun.azimuth_deg, sun.elevation_deg)
    row = {face.id: number for number, face in enumerate(faces)}
    up, down = np.zeros((len(spots), len(faces))), np.zeros((len(spots), len(faces)))
    cool = np.zeros((2, len(spots), 1))
    for number, spot in enumerate(spots):
        for name, share, low in zip(spot.wall_ids, spot.wall_shares, spot.wall_below_shares, strict=True):
            if name in row:
                up[number, row[name]], down[number, row[name]] = share, low
            else:
                cool[:, number, 0] += share, low
    black = black_body_w_m2(air)
    ground: FloatArray = each("pond_share") * black
    for surface, part in (
        (spots[0].ground, 1.0 - each("paving_share") - each("pond_share")),
        ("paving", each("paving_share")),
    ):
        ground = ground + part * black_body_w_m2(ground_c(level, air, wind, surface))
    sky = longwave_down(hot.t_air_c, saturation_vapour_pressure(hot.t_dew_c), hot.cloud, BEST_BY_EVIDENCE)
    below = (1.0 - each("wall_below")) * ground + down @ warmth + cool[1] * black
    return Daylight(
        t_air_c=air,
        t_dew_c=np.minimum(hot.t_dew_c + 0.0 * air, air),
        wind_m_s=wind,
        beam_w_m2=facing * seen,
        diffuse_w_m2=each("diffuse_share") * light.diffuse,
        thrown_w_m2=up @ thrown,
        ground_sun_w_m2=level,
        above_w_m2=each("sky") * sky + (each("roof") + each("canopy")) * black + up @ warmth + cool[0] * black,
        below_w_m2=(1.0 - foliage) * below + foliage * black,
        elevation_deg=sun.elevation_deg,
        azimuth_deg=sun.azimuth_deg,
    )


def _walls(
    yard: Yard, hot: _Hot, facing: FloatArray, diffuse: FloatArray, azimuth_deg: FloatArray, elevation_deg: FloatArray
) -> tuple[list[Face], FloatArray, FloatArray]:
    """Faces of the yard, their black-body flux and the sun that they throw back, shape (face, hour). [W/m²]"""
    from fruitwall.physics.daylight import black_body_w_m2
    from fruitwall.physics.spot import sun_visibility, survey_faces

    def make() -> tuple[list[Face], FloatArray, FloatArray]:
        faces = survey_faces(yard, winter=False)
        warmth, thrown = np.empty((2, len(faces), hot.t_air_c.size))
        for number, face in enumerate(faces):
            tilt = np.radians(face.tilt_deg)
            rise, away = np.radians(elevation_deg), np.radians(azimuth_deg - face.azimuth_deg)
            slant = np.cos(rise) * np.sin(tilt) * np.cos(away) + np.sin(rise) * np.cos(tilt)
            beam = facing * np.maximum(slant, 0.0) * sun_visibility(face, azimuth_deg, elevation_deg)
            light = beam + face.sky * diffuse + 0.1 * hot.sun_w_m2  # half of the ground's light
            warmer = WALL_KEEPS * face.absorptance * light / WALL_LOSES_W_M2K
            warmth[number] = black_body_w_m2(hot.t_air_c + warmer)
            thrown[number] = (1.0 - face.absorptance) * light
        return faces, warmth, thrown

    return _FACES.of(yard, hot, make=make)
