"""Files made to harm: what keeps this machine busy, fills it, or tells where somebody lives."""

from __future__ import annotations

import struct
import zlib
from contextlib import suppress
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageCms, PngImagePlugin

from fruitwall.service import pictures
from fruitwall.service.pictures import MOST_SCANS, PictureRefused, jpeg_scans, keep_picture, read_picture, small_picture
from tests.service.test_pictures import colours, house, picture, with_exif, written  # noqa: F401 - the fixture

NOW = datetime(2026, 12, 23, 16, 0, tzinfo=UTC)
HEIC = (Path(__file__).parents[1] / "data" / "photos" / "small.heic").read_bytes()

PLACE = (b"34,12.5N", b"118,5.17W", b"GPSLatitude", b"Orchard Street 7")
"""How the place is written in the packets below."""

XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="34,12.5N" '
    b'exif:GPSLongitude="118,5.17W"/></rdf:RDF></x:xmpmeta>'
)
IPTC = b"\x1c\x02\x5c\x00\x10Orchard Street 7"
PHOTOSHOP = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + struct.pack(">I", len(IPTC)) + IPTC
"""Sub-location, IPTC-IIM 2:92, as picture programs write it."""


def segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body


def with_segments(jpeg: bytes, *segments: bytes) -> bytes:
    """Put segments behind the start of a JPEG."""
    return jpeg[:2] + b"".join(segments) + jpeg[2:]


def png_chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def with_chunk(png: bytes, name: bytes, body: bytes) -> bytes:
    """Put a chunk behind the header of a PNG."""
    return png[:33] + png_chunk(name, body) + png[33:]


# ------------------------------------------------------------ the place


def text_of_png() -> PngImagePlugin.PngInfo:
    told = PngImagePlugin.PngInfo()
    told.add_itxt("XML:com.adobe.xmp", XMP.decode())
    told.add_text("Comment", "Orchard Street 7")
    return told


TELL_THE_PLACE = {
    "jpeg": with_segments(
        written(picture(), exif=with_exif(), xmp=XMP, comment=b"Orchard Street 7"), segment(0xED, PHOTOSHOP)
    ),
    "png": written(picture(), "PNG", exif=with_exif(), pnginfo=text_of_png()),
    "webp": written(picture(), "WEBP", exif=with_exif(), xmp=XMP),
}


@pytest.mark.parametrize("kind", TELL_THE_PLACE)
def test_no_packet_of_a_photo_tells_the_place_after_it_was_taken_in(kind):
    content = TELL_THE_PLACE[kind]
    shown = Image.open(BytesIO(content))
    assert shown.getexif().get_ifd(0x8825)[2] == (34.0, 12.0, 30.0)
    assert any(word in content for word in PLACE)

    found = read_picture(content, now=NOW)

    for kept in (found.content, found.small):
        bare = Image.open(BytesIO(kept))
        assert not bare.getexif()
        assert set(bare.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
        for word in (*PLACE, b"Exif", b"ns.adobe", b"xmpmeta", b"Photoshop", b"8BIM", b"Maker"):
            assert word not in kept
        # Behind the start stand only what a JPEG needs: APP0, tables, frame, scans.
        assert markers(kept) <= {0xE0, 0xDB, 0xC2, 0xC4, 0xDA}


def markers(jpeg: bytes) -> set[int]:
    """Give the kinds of segments of a JPEG."""
    found, at = set(), 2
    while (head := pictures._MARKER.search(jpeg, at)) and jpeg[head.end() - 1] != 0xD9:
        found.add(jpeg[head.end() - 1])
        at = head.end() + int.from_bytes(jpeg[head.end() : head.end() + 2])
    return found


# ------------------------------------------------------------ work without end


def scanned(times: int) -> bytes:
    """Write a JPEG with empty passes over all its pixels: 59 bytes each, a tenth of a second each for a large one."""
    jpeg = written(picture(), progressive=True)
    last = jpeg[jpeg.rindex(b"\xff\xda") : -2]
    return jpeg[:-2] + last * times + b"\xff\xd9"


def test_a_jpeg_of_endless_passes_is_refused_before_it_is_unpacked(monkeypatch):
    def unpacked(*_: object) -> None:
        raise AssertionError("it was opened")

    monkeypatch.setattr(pictures, "_opened", unpacked)

    with pytest.raises(PictureRefused, match="damaged"):
        read_picture(scanned(50_000), now=NOW)


def test_the_passes_of_ordinary_photos_are_few_whatever_stands_before_and_behind():
    thumbnail = segment(0xE1, written(picture(80, 60), progressive=True))
    film = b"\0\0\0\x18ftypmp42" + b"\xff\xda\0\x08" * 1000
    progressive = written(picture(), progressive=True)

    assert jpeg_scans(written(picture())) == 1
    assert 1 < jpeg_scans(progressive) < 15
    assert jpeg_scans(with_segments(progressive, *[thumbnail] * 20) + film) == jpeg_scans(progressive)
    assert jpeg_scans(scanned(MOST_SCANS)) > MOST_SCANS
    for cut in range(0, 400, 7):
        jpeg_scans(progressive[:cut])
    assert read_picture(with_segments(progressive, *[thumbnail] * 20) + film, now=NOW).width == 320


@pytest.mark.parametrize("chunk", ["iCCP", "zTXt", "iTXt"])
def test_a_png_whose_texts_unpack_to_a_gigabyte_does_not_fill_the_machine(chunk):
    import tracemalloc

    packed = zlib.compress(bytes(300_000_000), 9)
    head = {"iCCP": b"p\0\0", "zTXt": b"k\0\0", "iTXt": b"k\0\1\0\0\0"}[chunk]
    bomb = with_chunk(written(picture(), "PNG"), chunk.encode(), head + packed)

    tracemalloc.start()
    try:
        with suppress(PictureRefused):  # as good as taking its pixels
            read_picture(bomb, now=NOW)
        assert tracemalloc.get_traced_memory()[1] < 40_000_000
    finally:
        tracemalloc.stop()


def test_a_huge_colour_profile_is_not_followed(monkeypatch):
    def followed(*_: object, **__: object) -> None:
        raise AssertionError("it was followed")

    plain = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    monkeypatch.setattr(ImageCms, "profileToProfile", followed)
    with pytest.raises(PictureRefused):
        read_picture(written(picture(), icc_profile=plain), now=NOW)

    found = read_picture(written(picture(), icc_profile=plain + bytes(3_000_000)), now=NOW)

    assert colours(found.content)[0] == pytest.approx([200, 50, 40], abs=12)


# ------------------------------------------------------------ other colours, cut short


def test_a_photo_in_printers_colours_keeps_its_colours():
    left, right = colours(read_picture(written(picture(mode="CMYK")), now=NOW).content)

    assert left[0] > 150 > 110 > left[1]
    assert right[1] > 110 > right[0]


@pytest.mark.parametrize("mode", ["L", "1", "P", "I;16", "LA", "RGBA"])
def test_every_kind_of_pixels_becomes_a_plain_photo(mode):
    image = picture(mode="L").convert("I").point(lambda v: v * 200).convert("I;16") if mode == "I;16" else picture()
    content = written(image if mode == "I;16" else image.convert(mode), "PNG")

    found = read_picture(content, now=NOW)

    assert Image.open(BytesIO(found.content)).mode == "RGB"
    assert (found.width, found.height) == (320, 240)


@pytest.mark.parametrize("share", range(5, 100, 5))
def test_a_heic_that_was_cut_short_is_refused_in_words(share):
    with pytest.raises(PictureRefused):
        read_picture(HEIC[: len(HEIC) * share // 100], name="a.heic", now=NOW)


@pytest.mark.parametrize("seed", range(40))
def test_a_heic_with_wrong_bytes_is_taken_or_refused_and_nothing_else(seed):
    import random

    chance = random.Random(seed)
    content = bytearray(HEIC)
    for _ in range(6):
        content[chance.randrange(12, len(content))] = chance.randrange(256)

    try:
        found = read_picture(bytes(content), now=NOW)
    except PictureRefused:
        return
    assert Image.open(BytesIO(found.content)).format == "JPEG"


@pytest.mark.parametrize(("width", "height"), [(65_535, 65_535), (65_535, 1), (60_000, 1_001)])
def test_a_heic_that_claims_a_huge_size_is_refused(width, height):
    size = HEIC.index(b"ispe") + 8
    claimed = HEIC[:size] + struct.pack(">II", width, height) + HEIC[size + 8 :]

    with pytest.raises(PictureRefused):
        read_picture(claimed, now=NOW)


# ------------------------------------------------------------ small pictures


def test_a_small_picture_that_went_bad_on_the_disk_is_made_anew(house):  # noqa: F811 - the fixture
    photo = keep_picture(house, written(picture(1200, 900)))
    good = small_picture(house, photo.sha256)
    (file,) = house.photos.folder.rglob("*-small.jpg")
    file.write_bytes(file.read_bytes()[:200] + b"<script>" + file.read_bytes()[208:])

    again = small_picture(house, photo.sha256)

    assert good is not None
    assert again is not None
    assert Image.open(BytesIO(again)).size == Image.open(BytesIO(good)).size
    assert b"<script>" not in again
    assert house.photos.read_small(photo.sha256) == again
