"""Weather packed for the journal loses nothing."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime

import numpy as np
import pytest

from fruitwall.errors import JournalError
from fruitwall.journal.forcing_file import MEDIA_TYPE, pack_forcing, unpack_forcing
from fruitwall.speech import say_again, speaking, told
from fruitwall.weather.forcing import Forcing
from tests.weather.builders import some_forcing


@pytest.fixture
def forcing(rng) -> Forcing:
    """Two members, five hours, awkward values."""
    air = rng.normal(-2.0, 3.0, (2, 5))
    return Forcing(
        time_utc=np.datetime64("2026-12-22T22:00:00", "s") + np.arange(5) * np.timedelta64(3600, "s"),
        t_air_c=air,
        t_dew_c=air - 1 / 3,
        wind_m_s=np.full((2, 5), 0.1 + 0.2),
        cloud=np.array([[0.0, 1.0, 0.5, 1 / 3, 0.1]] * 2),
        shortwave_w_m2=np.zeros((2, 5)),
        rain_mm=np.zeros((2, 5)),
        latitude_deg=33.9,
        longitude_deg=-117.25,
        elevation_m=468.0,
        source="a hill's own station, °C",
        issued_utc=datetime(2026, 12, 22, 20, tzinfo=UTC),
        n_history=2,
        warnings=("cloud was missing for an hour", "it lies 200 m higher"),
    )


def test_a_packed_forcing_comes_back_exactly(forcing):
    back = unpack_forcing(pack_forcing(forcing))

    for field in dataclasses.fields(Forcing):
        before, after = getattr(forcing, field.name), getattr(back, field.name)
        if isinstance(before, np.ndarray):
            assert before.dtype == after.dtype
            np.testing.assert_array_equal(before, after)
        else:
            assert before == after


def test_the_same_forcing_packs_to_the_same_bytes(forcing):
    assert pack_forcing(forcing) == pack_forcing(dataclasses.replace(forcing))


def test_a_packed_forcing_goes_through_the_journal(journal, forcing, now):
    journal.store_yard("name: hill", name="hill", now=now, author="Ana")

    stored = journal.store_forecast(
        pack_forcing(forcing), source=forcing.source, issued=forcing.issued_utc, fetched=now, media_type=MEDIA_TYPE
    )

    np.testing.assert_array_equal(unpack_forcing(journal.forecast(stored.id).body).t_air_c, forcing.t_air_c)


@pytest.mark.parametrize("packed", [b"", b"no archive", b"PK\x03\x04 half an archive"])
def test_other_bytes_are_refused(packed):
    with pytest.raises(JournalError, match="stored weather cannot be read"):
        unpack_forcing(packed)


def test_told_sentences_are_said_to_a_reader_of_another_language_after_they_were_kept():
    inner = told("GHCN-Daily (NOAA), station {station}, daily", station="X1")
    forcing = some_forcing(
        source=told("{source}; after it {climate}", source=inner, climate="a typed name"),
        warnings=(told("missing days that were bridged by straight lines: {count}", count=3), "plain text"),
    )
    back = unpack_forcing(pack_forcing(forcing))
    assert (back.source, back.warnings) == (forcing.source, forcing.warnings)
    with speaking("es"):
        assert say_again(back.source).startswith("GHCN-Daily (NOAA), estación X1, diario")
        assert say_again(back.warnings[0]) == "días que faltaban y se unieron con líneas rectas: 3"
        assert say_again(back.warnings[1]) == "plain text"


def test_a_sentence_that_cannot_be_kept_so_is_kept_as_it_reads():
    forcing = some_forcing(warnings=(told("{where}: {error}", where="a", error=ValueError("bad")),))
    assert unpack_forcing(pack_forcing(forcing)).warnings == ("a: bad",)
