"""How many hours a day the sun reaches a place, from the table of its surroundings and the sun's way over the sky."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.spot import BIN_DEG, SUN_BINS, Spot
from fruitwall.physics.sun import sun_position

FloatArray = NDArray[np.float64]

EVERY_DAYS, EVERY_MINUTES = 5, 10
"""Days and moments from which a season is summed up: of an open field the hours of three months are then within two
minutes of the day's length (tested)."""


def sun_hours(spots: Sequence[Spot], latitude_deg: float, longitude_deg: float, first: date, last: date) -> FloatArray:
    """Give the mean hours a day in which the sun reaches places, under a clear sky.

    Parameters
    ----------
    spots : sequence of Spot
    latitude_deg, longitude_deg : float
        [degrees]
    first, last : date
        Of the days meant, both among them.

    Returns
    -------
    ndarray, shape (spot,)
        An hour in which half of the beam gets through counts half. Sun below the level horizon counts nothing. [h]

    Raises
    ------
    ValueError
        If the last day lies before the first, or the place is not on earth.

    Notes
    -----
    The share that gets through is read from each spot's table by straight lines between bins, as `spot.sun_visibility`
    does; the weights of all moments are summed up by bin first, so that any number of spots costs one product.
    """
    days = (last - first).days
    if days < 0:
        raise ValueError(f"last must not lie before first, got {first} to {last}")
    if not spots:
        return np.zeros(0)
    count = days // EVERY_DAYS + 1
    offset = np.datetime64(first, "m") + np.timedelta64((days % EVERY_DAYS) // 2 * 1440, "m")
    # Days of the place, not of Greenwich: from midnight to midnight by the sun.
    offset = offset - np.timedelta64(round(longitude_deg * 4.0), "m")
    moments = np.arange(0, 1440, EVERY_MINUTES) + EVERY_MINUTES // 2
    minutes = (np.arange(count)[:, None] * 1440 * EVERY_DAYS + moments).ravel()
    sun = sun_position((offset + minutes.astype("timedelta64[m]")).astype("datetime64[s]"), latitude_deg, longitude_deg)
    weight = _bin_weights(np.asarray(sun.azimuth_deg), np.asarray(sun.elevation_deg)) * EVERY_MINUTES / 60.0 / count
    tables = np.array([spot.sun_share.ravel() for spot in spots])
    return np.asarray(tables @ weight.ravel())


def _bin_weights(azimuth_deg: FloatArray, elevation_deg: FloatArray) -> FloatArray:
    """Say how much each bin of a sun table counts over some moments; as `spot._look_up` reads a table."""
    up = elevation_deg > 0.0
    column = azimuth_deg[up] / BIN_DEG - 0.5
    row = np.clip(elevation_deg[up] / BIN_DEG - 0.5, 0.0, SUN_BINS[1] - 1.0)
    left, below = np.floor(column).astype(int), np.minimum(np.floor(row).astype(int), SUN_BINS[1] - 2)
    right_share, upper_share = column - left, row - below
    weight = np.zeros(SUN_BINS)
    for step, along in ((0, 1.0 - right_share), (1, right_share)):
        for higher, share in ((0, 1.0 - upper_share), (1, upper_share)):
            np.add.at(weight, ((left + step) % SUN_BINS[0], below + higher), along * share)
    return weight
