"""The kernel and the plain NumPy reference march the same nights."""

import numba
import numpy as np
import pytest

from bench import numpy_reference
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import Body
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.kernel import FAR_ABOVE
from fruitwall.physics.night import _March
from fruitwall.physics.rooms import Room
from fruitwall.physics.treatment import Treatment
from tests.physics.nights import frost_weather, night_of, open_spot

pytestmark = pytest.mark.skipif(
    numba.config.DISABLE_JIT, reason="kernels are not compiled in this run (NUMBA_DISABLE_JIT)"
)

STONE = Face("wall", "wall", 180.0, (0.0, 0.0), (6.0, 0.0), 3.0, (Layer(0.4, 1.5, 2100.0, 1000.0),), "earth")
HOUSE = Face("house", "house", 90.0, (0.0, 0.0), (6.0, 0.0), 3.0, (Layer(0.2, 0.9, 1400.0, 1000.0),), "indoor", 19.0)

PLACES = {
    "open ground": (open_spot(), Body(fruit_diameter_m=0.07)),
    "between walls, in a pot": (
        open_spot(
            sky=0.5, wall=0.3, wall_ids=("wall", "house", "far"), wall_shares=(0.15, 0.1, 0.05), wall_below=0.2,
            wall_below_shares=(0.1, 0.05, 0.05), paving_share=0.5, stillness=0.6, ground="turf",
        ),
        Body(pot_volume_l=30.0, height_m=1.0, crown_diameter_m=0.8, fruit_diameter_m=0.03),
    ),
    "leafless in a hollow under a roof": (
        open_spot(sky=0.6, roof=0.3, colder_k=2.0, ground="mulch"),
        Body(leaf_area_index=0.0, height_m=3.0),
    ),
    "fruit that freezes over bare ground": (
        open_spot(sky=0.95, colder_k=3.0, learned_k=-0.7, learned_clear_k=1.1),
        Body(fruit_diameter_m=0.04, fruit_freezing_c=-1.5, leaf_area_index=1.0),
    ),
}  # fmt: skip

MEASURES = (
    Treatment("leave"),
    Treatment("cloth", cover="fleece_light"),
    Treatment("cloth left on", cover="frost_blanket", stays_by_day=True, lamp_w=100.0),
    Treatment("heated film", cover="film_polyethylene", on_frame=True, heater_w=900.0, thermostat_c=2.0),
    Treatment("heater that always runs", cover="film_infrared", on_frame=True, heater_w=300.0),
    Treatment("lamps and heater in the open", lamp_w=150.0, lamp_kind="led", heater_w=500.0),
    Treatment("water", wet_ground=True),
    Treatment("water later", wet_ground=True, wet_from_utc=night_of(22).cover_on_utc),
    Treatment("water under film", cover="film_polyethylene", on_frame=True, wet_ground=True, stays_by_day=True),
    Treatment(
        "shelter with lamps", cover="film_polyethylene", sides="fleece_medium", on_frame=True, lamp_w=200.0,
        frame_width_m=3.0, frame_length_m=6.0, frame_height_m=2.5,
    ),
    Treatment("film over barrels", cover="film_polyethylene", on_frame=True, water_l=200.0),
    Treatment("roof", cover="fleece_heavy", sides="open", on_frame=True),
    Treatment("hung over", cover="fleece_medium", to_ground=False),
    Treatment("carried into a shed", room=Room("shed")),
    Treatment("carried into a house", room=Room("house", kept_at_c=5.0)),
    Treatment("moved", spot=open_spot(sky=0.4, wind_share=0.3, id="elsewhere")),
    Treatment("moved and covered", spot=open_spot(sky=0.3, id="elsewhere"), cover="bed_sheet"),
)  # fmt: skip


def prepared(*, minutes=15, members=3, days=4, nights=(21, 22), moisture="moist", measures=MEASURES, **weather):
    spots, bodies = zip(*PLACES.values(), strict=True)
    march = _March(
        frost_weather(days=days, members=members, before=2.0, **weather), list(spots), list(bodies),
        [measures] * len(spots),
        [night_of(day) for day in nights], (STONE, HOUSE), "loam", moisture, minutes, 0.7,
    )  # fmt: skip
    march.leak *= np.linspace(0.5, 2.0, march.leak.shape[1])  # as if drawn for each member
    return march


def both(march):
    """Results of the kernel and of NumPy by name, [case, member, ...]."""
    raw = march.run(keep_series=True, threads=1)
    series = raw.series.reshape(*raw.series.shape[:3], k.HISTORY_ROWS, k.LANES)
    kernel = {name: getattr(raw, name) for name in ("low", "lowest", "air")} | {"series": series}
    reference = numpy_reference.march(march, keep_series=True)
    return {
        name: (np.moveaxis(march.blocks.take(values), 1, 0), getattr(reference, name))
        for name, values in kernel.items()
    }


@pytest.mark.parametrize(
    "what",
    [
        {},
        {"minutes": 30, "members": 2, "moisture": "dry"},
        {"minutes": 60, "low": -9.0, "high": 13.0},  # the ground freezes and thaws
        {"minutes": 10, "days": 3, "nights": (21,), "moisture": "wet"},
        {"members": 70, "days": 3, "nights": (20, 21), "measures": MEASURES[:4]},  # two blocks
    ],
)
def test_kernel_and_numpy_march_the_same_nights(what):
    march = prepared(**what)
    found = both(march)
    # What is compared must be nights: no sentinel left, trees under covers warm by day, leaves with frost by night.
    assert found["series"][0][:, :, 1:].std(axis=(0, 2)).min() > 0.1
    assert (found["lowest"][0] < 0.0).any()
    assert found["low"][0].max() < FAR_ABOVE
    for name, (kernel, reference) in found.items():
        assert kernel.shape == reference.shape
        # W/m² in "sky" (the last row of series): 1e-6 K is 5e-6 W/m².
        assert np.abs(kernel - reference).max() < 1e-6, name


def test_a_window_longer_than_a_night_has_no_mean():
    march = prepared(days=3, nights=(21,), measures=MEASURES[:2], members=1)
    last = int(np.flatnonzero(march.clock.night == 0)[0]) + 9  # the weather ends two and a half hours into the night
    march.clock.night[last + 1 :] = -1
    kernel, reference = both(march)["low"]
    assert np.array_equal(kernel == FAR_ABOVE, reference == FAR_ABOVE)
    assert np.array_equal((kernel == FAR_ABOVE).any(axis=(0, 1, 2, 3)), [False, False, False, True, True])
    assert np.abs(kernel - reference).max() < 1e-6


def test_part_of_the_cases_is_part_of_the_result():
    march = prepared(days=3, nights=(21,), members=2)
    whole, part = numpy_reference.march(march), numpy_reference.march(march, cases=slice(10, 20))
    assert part.low == pytest.approx(whole.low[10:20], abs=1e-12)


def test_steps_can_be_cut_short():
    march = prepared(days=4, members=1, measures=MEASURES[:3])
    end = int(np.flatnonzero(march.clock.night == 0)[-1]) + 1
    whole, short = numpy_reference.march(march), numpy_reference.march(march, steps=end)
    assert np.array_equal(short.low[:, :, 0], whole.low[:, :, 0])
    assert (short.low[:, :, 1] == FAR_ABOVE).all()
