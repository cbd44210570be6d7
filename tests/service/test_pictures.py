"""Photos from outside: what is taken, what is refused, and what of a file is kept."""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from io import BytesIO
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image, ImageCms

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service import pictures
from fruitwall.service.house import House
from fruitwall.service.pictures import PictureRefused, keep_picture, read_picture, small_picture
from fruitwall.yard.demo import demo_yard_text

NOW = datetime(2026, 12, 23, 16, 0, tzinfo=UTC)
HEIC = Path(__file__).parents[1] / "data" / "photos" / "small.heic"
"""96 x 64, left half red, with GPS and a time of taking; made by pillow-heif from a drawing."""


@pytest.fixture
def house(database, tmp_path) -> Iterator[House]:
    with open_journal(database) as journal:
        journal.store_yard(demo_yard_text(), name="Demo", now=NOW, author="test")
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


def picture(width: int = 320, height: int = 240, *, mode: str = "RGB") -> Image.Image:
    """Draw a picture whose left half is red, the rest green."""
    drawn = Image.new("RGB", (width, height), (60, 140, 70))
    drawn.paste((200, 50, 40), (0, 0, width // 2, height))
    return drawn.convert(mode)


def written(image: Image.Image, kind: str = "JPEG", **options: object) -> bytes:
    out = BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def with_exif(*, orientation: int = 1, taken: str = "2026:12:22 07:41:05", offset: str | None = None) -> bytes:
    """Write what a telephone writes: place, time, maker, how it was held."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = orientation, "Maker of telephones"
    exif.get_ifd(0x8769)[0x9003] = taken
    if offset is not None:
        exif.get_ifd(0x8769)[0x9011] = offset
    exif.get_ifd(0x8825).update({1: "N", 2: (34.0, 12.0, 30.0), 3: "W", 4: (118.0, 5.0, 10.0)})
    return exif.tobytes()


def colours(content: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Give the mean colours of the left and the right quarter."""
    shown = np.asarray(Image.open(BytesIO(content)), dtype=float)
    quarter = shown.shape[1] // 4
    return shown[:, :quarter].mean(axis=(0, 1)), shown[:, -quarter:].mean(axis=(0, 1))


def png_header(width: int, height: int) -> bytes:
    """Write a PNG that claims a size and holds next to nothing."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_every_usual_kind_becomes_a_jpeg_of_the_same_colours(kind):
    found = read_picture(written(picture(), kind), now=NOW)

    assert (found.width, found.height, found.taken) == (320, 240, None)
    assert Image.open(BytesIO(found.content)).format == "JPEG"
    left, right = colours(found.content)
    assert left == pytest.approx([200, 50, 40], abs=12)
    assert right == pytest.approx([60, 140, 70], abs=12)


def test_heic_is_read_with_its_time_and_without_its_place():
    found = read_picture(HEIC.read_bytes(), name="IMG_0001.HEIC", now=NOW)

    assert (found.width, found.height) == (96, 64)
    assert found.taken == datetime(2026, 12, 22, 7, 41, 5, tzinfo=timezone(-timedelta(hours=8)))
    left, right = colours(found.content)
    assert left[0] > 150 > 110 > right[0]
    assert b"Exif" not in found.content


def test_nothing_of_the_metadata_survives():
    content = written(
        picture(),
        exif=with_exif(),
        comment=b"a comment with the street",
        xmp=b"<x:xmpmeta>the place again</x:xmpmeta>",
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    )
    assert b"Maker of telephones" in content

    found = read_picture(content, zone=ZoneInfo("America/Los_Angeles"), now=NOW)

    for kept in (found.content, found.small):
        shown = Image.open(BytesIO(kept))
        assert not shown.getexif()
        assert not {"exif", "comment", "xmp", "icc_profile"} & shown.info.keys()
        for word in (b"Exif", b"Maker", b"street", b"xmpmeta", b"ICC_PROFILE"):
            assert word not in kept


def test_the_time_is_read_on_the_clock_of_the_yard_unless_the_photo_says_otherwise():
    zone = ZoneInfo("America/Los_Angeles")
    plain = read_picture(written(picture(), exif=with_exif()), zone=zone, now=NOW)
    told = read_picture(written(picture(), exif=with_exif(offset="+01:00")), zone=zone, now=NOW)

    assert plain.taken == datetime(2026, 12, 22, 15, 41, 5, tzinfo=UTC)
    assert told.taken == datetime(2026, 12, 22, 6, 41, 5, tzinfo=UTC)


@pytest.mark.parametrize("taken", ["2027:01:01 00:00:00", "0000:00:00 00:00:00", "yesterday", "1970:01:01 00:00:00"])
def test_an_impossible_time_is_no_time(taken):
    found = read_picture(written(picture(), exif=with_exif(taken=taken)), zone=ZoneInfo("UTC"), now=NOW)

    assert found.taken is None


@pytest.mark.parametrize("held", range(1, 9))
def test_a_photo_stands_upright_however_the_telephone_was_held(held):
    # What each value asks for, undone by NumPy: EXIF 2.32, tag 274.
    undo = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.transpose(1, 0, 2),
        6: lambda a: np.rot90(a, 1),
        7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
        8: lambda a: np.rot90(a, -1),
    }
    upright = np.asarray(picture(160, 80)).copy()
    upright[:20] = (20, 20, 220)
    stored = Image.fromarray(np.ascontiguousarray(undo[held](upright)))

    found = read_picture(written(stored, quality=95, exif=with_exif(orientation=held)), now=NOW)

    shown = np.asarray(Image.open(BytesIO(found.content)), dtype=float)
    assert shown.shape == upright.shape
    assert np.abs(shown - upright).mean() < 6


def test_a_large_photo_is_made_smaller_and_keeps_its_shape():
    found = read_picture(written(picture(4000, 3000)), now=NOW)

    assert (found.width, found.height) == (2048, 1536)
    assert Image.open(BytesIO(found.small)).size == (480, 360)
    assert len(found.small) < 60_000


def test_a_clear_ground_becomes_white():
    clear = Image.new("RGBA", (64, 64), (0, 0, 0, 0))

    found = read_picture(written(clear, "PNG"), now=NOW)

    assert colours(found.content)[0] == pytest.approx([255, 255, 255], abs=2)


def test_a_colour_profile_is_heeded_before_it_is_dropped():
    # The profile of sRGB with the names of its red and blue exchanged: what is stored as red is blue.
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    red, blue = profile.index(b"rXYZ"), profile.index(b"bXYZ")
    profile[red : red + 4], profile[blue : blue + 4] = b"bXYZ", b"rXYZ"

    left, _ = colours(read_picture(written(picture(), icc_profile=bytes(profile)), now=NOW).content)

    assert left[2] > 150 > 100 > left[0]


def test_a_profile_that_cannot_be_read_is_as_good_as_none():
    broken = written(picture(), icc_profile=b"no profile at all")

    assert colours(read_picture(broken, now=NOW).content)[0] == pytest.approx([200, 50, 40], abs=12)


HOSTILE = {
    "empty": (b"", "empty"),
    "text": (b"just words", "no photo that can be read"),
    "svg": (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "HTML, SVG"),
    "svg after a mark": (b"\xef\xbb\xbf\n <?xml version='1.0'?><svg/>", "HTML, SVG"),
    "html": (b"<!doctype html><script>alert(1)</script>", "HTML, SVG"),
    "gif": (written(picture(mode="P"), "GIF"), "GIF"),
    "bmp": (written(picture(), "BMP"), "BMP"),
    "tiff": (written(picture(), "TIFF"), "TIFF"),
    "pdf": (b"%PDF-1.7 and so on", "PDF"),
    "avif": (b"\0\0\0\x20ftypavif" + bytes(64), "no photo that can be read"),
    "heic sequence": (b"\0\0\0\x20ftyphevc" + bytes(64), "no photo that can be read"),
    "heic of nothing": (b"\0\0\0\x20ftypheic" + bytes(64), "damaged"),
    "polyglot with a page": (written(picture()) + b"<html><script>alert(1)</script>", "something else at once"),
    "polyglot in a comment": (written(picture(), comment=b"<ScRiPt src=x>"), "something else at once"),
    "cut short": (written(picture(2000, 1500), quality=95)[:9000], "damaged or cut short"),
    "cut short png": (written(picture(), "PNG")[:-30], "damaged or cut short"),
    "cut short webp": (written(picture(), "WEBP")[:-30], "damaged or cut short"),
    "jpeg in name only": (b"\xff\xd8\xff" + bytes(400), "damaged or cut short"),
    "bomb of pixels": (png_header(60_000, 60_000), "60 million pixels"),
    "large beyond the limit": (png_header(8000, 7501), "60 million pixels"),
    "small bomb header": (png_header(4000, 4000), "damaged or cut short"),
    "line of pixels": (written(picture(500, 2), "PNG"), "500 by 2"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_with_its_reason(name):
    content, reason = HOSTILE[name]

    with pytest.raises(PictureRefused, match=reason):
        read_picture(content, now=NOW)


def test_a_photo_that_is_an_archive_as_well_is_refused():
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w") as file:
        file.writestr("run.class", "bytes")

    with pytest.raises(PictureRefused, match="something else at once"):
        read_picture(written(picture()) + archive.getvalue(), now=NOW)


def test_moving_pictures_are_refused_and_second_pictures_of_telephones_are_not():
    frames = [picture(), picture(mode="L").convert("RGB")]
    for kind in ("PNG", "WEBP"):
        moving = written(frames[0], kind, save_all=True, append_images=frames[1:], duration=100)
        with pytest.raises(PictureRefused, match="Moving"):
            read_picture(moving, now=NOW)
    telephone = written(frames[0], "MPO", save_all=True, append_images=frames[1:])

    assert read_picture(telephone, now=NOW).width == 320


def test_a_film_behind_a_photo_is_dropped():
    film = written(picture()) + b"\0\0\0\x18ftypmp42" + bytes(5000)

    found = read_picture(film, now=NOW)

    assert b"ftypmp42" not in found.content


def test_too_many_bytes_are_refused_before_anything_is_read(monkeypatch):
    monkeypatch.setattr(pictures, "MOST_BYTES", 1000)

    with pytest.raises(PictureRefused, match="larger than"):
        read_picture(written(picture()), now=NOW)


@pytest.mark.parametrize("name", ["leaf.html", "leaf.jpg.exe", "a/b\\leaf.SVG", "leaf.php"])
def test_a_name_that_is_no_photos_is_refused(name):
    with pytest.raises(PictureRefused, match="ends in"):
        read_picture(written(picture()), name=name, now=NOW)


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "/absolute.jpg", "..\\..\\x.png", "leaf\0.jpg", "é\u202e.jpeg", ""]
)
def test_a_name_never_becomes_a_path(house, name):
    photo = keep_picture(house, written(picture()), name=name)

    files = sorted(path.relative_to(house.photos.folder) for path in house.photos.folder.rglob("*.jpg"))
    assert [str(path) for path in files] == [
        f"{photo.sha256[:2]}/{photo.sha256}-small.jpg",
        f"{photo.sha256[:2]}/{photo.sha256}.jpg",
    ]


def test_the_same_photo_is_kept_once(house):
    content = written(picture(), exif=with_exif())
    first = keep_picture(house, content)
    again = keep_picture(house, content)

    assert first == again == house.ledger.photo(first.sha256)
    assert first.taken == datetime(2026, 12, 22, 15, 41, 5, tzinfo=UTC)
    assert list(house.photos.digests()) == [first.sha256]


def test_the_device_may_tell_when_a_photo_was_taken_but_not_in_the_future(house):
    told = NOW - timedelta(hours=3)

    assert keep_picture(house, written(picture()), taken=told).taken == told
    assert keep_picture(house, written(picture(330)), taken=NOW + timedelta(days=1)).taken is None


def test_a_small_form_is_made_anew_where_it_is_missing(house):
    photo = keep_picture(house, written(picture(1200, 900)))
    small = small_picture(house, photo.sha256)
    (house.photos.folder / photo.sha256[:2] / f"{photo.sha256}-small.jpg").unlink()

    again = small_picture(house, photo.sha256)

    assert small is not None
    assert again is not None
    assert Image.open(BytesIO(again)).size == Image.open(BytesIO(small)).size == (480, 360)
    assert small_picture(house, "0" * 64) is None
