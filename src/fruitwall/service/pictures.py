"""Photos as they come from a telephone, and as they are kept: small, upright, and without a word about the place.

Whatever comes is taken for hostile. What a file is, its content says and not its name; its pixels are counted before
they are unpacked; what is kept is drawn anew from the pixels alone, so that nothing else of the file survives.
"""

from __future__ import annotations

import re
import threading
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from io import BytesIO
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from fruitwall.errors import FruitwallError
from fruitwall.journal.entries import StoredPhoto
from fruitwall.speech import say

if TYPE_CHECKING:
    from PIL import Image

    from fruitwall.service.house import House

MOST_BYTES = 25_000_000
"""Largest file taken. Telephones write 2 to 12 MB a photo; our judgement."""

MOST_PIXELS = 60_000_000
"""Largest picture unpacked: 180 MB as red, green and blue. Telephones take 12 to 50 million pixels; our judgement."""

MOST_SCANS = 30
"""Passes over a JPEG. Cameras write one to a dozen, from memory; each goes over all pixels, and an empty one takes some
sixty bytes, so that a small file could keep this machine busy for hours. Our judgement."""

MOST_PROFILE_BYTES = 2_000_000
"""Largest colour profile that is followed. Those of cameras and screens have 0.5 to 20 kB, of printers to 1.5 MB, from
memory. Our judgement."""

LEAST_SIDE = 8
"""A picture of fewer pixels a side shows no tree."""

LONGEST_SIDE = 2048
"""Of the picture kept: a burnt leaf margin can still be seen in a photo of a whole small tree. Our judgement."""

SMALL_SIDE = 480
"""Of the small picture for lists and for the walk."""

QUALITY = 82
SMALL_QUALITY = 74

AHEAD = timedelta(minutes=10)
"""How far a camera's clock may be ahead before what it says is not believed."""

KINDS = {"JPEG": "JPEG", "PNG": "PNG", "WEBP": "WebP", "HEIF": "HEIC"}
"""Formats that are taken: name in Pillow, and to people."""

ENDINGS = frozenset(("", ".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".webp", ".heic", ".heif", ".hif"))
"""Endings of names that a photo may have. Which of them does not matter: the content says what it is."""

HEIC_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"mif1"))
"""Brands of still pictures (ISO/IEC 23008-12, annex B; from memory). Sequences (hevc, msf1) and AVIF are left out."""

OTHERS = (
    (b"GIF8", "GIF"),
    (b"BM", "BMP"),
    (b"II*\0", "TIFF"),
    (b"MM\0*", "TIFF"),
    (b"%PDF", "PDF"),
    (b"PK\3\4", "ZIP"),
)
"""What else is recognised, so that the answer can name it."""

FOREIGN = (b"<script", b"<!doctype", b"<html>", b"<html ", b"<?php ", b"<svg xmlns", b"%pdf-1.", b"javascript:")
"""What no photo holds: a file that is also a page or a document is not taken, although only its pixels would be kept.

Six bytes and more, so that packed pixels do not hold them by chance: one in 40 000 for 25 MB, capitals counted.
"""

# EXIF 2.32 (CIPA DC-008): tags of how it was held, of the time of taking, and of the group that holds the latter.
_ORIENTATION, _EXIF_GROUP, _TAKEN, _TAKEN_OFFSET = 0x0112, 0x8769, 0x9003, 0x9011

# A marker: not a byte of pixels (FF 00), a restart (FF D0 to D7) or filling (FF FF).
_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd8]", re.DOTALL)

_one_at_a_time = threading.Lock()


class PictureRefused(FruitwallError):
    """A file that is not taken as a photo; the text says why."""


@dataclass(frozen=True)
class Picture:
    """A photo as it is kept.

    Attributes
    ----------
    content, small : bytes
        JPEG, for looking at and for lists.
    width, height : int
        Of the larger. [pixels]
    taken : datetime, aware, or None
        When the camera took it, where it says so.
    """

    content: bytes
    small: bytes
    width: int
    height: int
    taken: datetime | None


def keep_picture(
    house: House, content: bytes, *, name: str = "", zone: tzinfo | None = None, taken: datetime | None = None
) -> StoredPhoto:
    """Take a photo in and store it; the same photo again is stored once.

    Parameters
    ----------
    house : House
    content : bytes
        The file as it came.
    name : str
        Name that it had; only its ending is looked at, and nothing is ever stored under it.
    zone : tzinfo, optional
        Zone of the camera's clock, where the photo does not say; the yard's if left out.
    taken : datetime, aware, optional
        When it was taken according to the device that sends it, where the photo itself does not say.

    Returns
    -------
    StoredPhoto

    Raises
    ------
    PictureRefused
        If it is not a photo that is taken.
    JournalError
        If it cannot be stored.
    """
    now = house.clock()
    zone = zone or ZoneInfo(house.yard()[0].location.time_zone)
    picture = read_picture(content, name=name, zone=zone, now=now)
    when = picture.taken or (taken if taken is not None and taken <= now + AHEAD else None)
    # First the file, then the row: a row always has its picture.
    digest = house.photos.store(picture.content)
    house.photos.store_small(digest, picture.small)
    photo = StoredPhoto(digest, picture.width, picture.height, len(picture.content), when, now)
    house.ledger.add_photo(photo)
    return house.ledger.photo(digest) or photo


def small_picture(house: House, digest: str) -> bytes | None:
    """Give the small form of a stored photo; made anew where it is missing, as after a restored backup.

    Parameters
    ----------
    house : House
    digest : str
        Of the photo.

    Returns
    -------
    bytes or None
        JPEG; None if there is no such photo.
    """
    found = house.photos.read_small(digest)
    if found is not None:
        return found
    content = house.photos.read(digest)
    if content is None:
        return None
    from PIL import Image

    with _one_at_a_time, Image.open(BytesIO(content), formats=["JPEG"]) as image:
        small = _shrunk(image, SMALL_SIDE, SMALL_QUALITY)
    house.photos.store_small(digest, small)
    return small


def read_picture(content: bytes, *, name: str = "", zone: tzinfo | None = None, now: datetime) -> Picture:
    """Read a photo and draw it anew: upright, not too large, in sRGB, without metadata.

    Parameters
    ----------
    content : bytes
        The file as it came.
    name : str
        Name that it had.
    zone : tzinfo, optional
        Zone of the camera's clock, where the photo does not say.
    now : datetime, aware
        The present: a photo of the future has no known time.

    Returns
    -------
    Picture

    Raises
    ------
    PictureRefused
        If it is too large, broken, animated, of another kind, or two kinds at once.
    """
    kind = _kind_of(content, name)
    if kind == "JPEG" and jpeg_scans(content) > MOST_SCANS:
        raise PictureRefused(_broken(kind))
    from PIL import Image, UnidentifiedImageError

    # One picture at a time: memory for one is known, and two cores gain little from more.
    with _one_at_a_time:
        try:
            with _opened(content, kind) as image:
                return _drawn(image, kind, zone, now)
        except PictureRefused:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise PictureRefused(_too_many_pixels()) from error
        except UnidentifiedImageError as error:
            raise PictureRefused(_broken(kind)) from error
        except Exception as error:  # decoders of hostile bytes fail in every way there is
            raise PictureRefused(_broken(kind)) from error


def _kind_of(content: bytes, name: str) -> str:
    """Give the format by content; refuse what is none or more than one."""
    if not content:
        raise PictureRefused(say("The file is empty."))
    if len(content) > MOST_BYTES:
        raise PictureRefused(too_many_bytes())
    # Only the last part, whatever separates the parts on the sender's system.
    ending = PurePosixPath(name.replace("\\", "/")).suffix.lower()
    if ending not in ENDINGS:
        raise PictureRefused(
            say("A file whose name ends in {ending} is not taken as a photo; send a JPEG, PNG, WebP or HEIC.",
                ending=ending[:12])
        )  # fmt: skip
    kind = _sniffed(content)
    if kind is None:
        other = next((name for mark, name in OTHERS if content.startswith(mark)), None)
        if other is None and content[:512].lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
            other = "HTML, SVG"
        if other is not None:
            raise PictureRefused(say("This is no photo but {kind}; send a JPEG, PNG, WebP or HEIC.", kind=other))
        raise PictureRefused(say("This is no photo that can be read; send a JPEG, PNG, WebP or HEIC."))
    lowered = content.lower()
    if any(mark in lowered for mark in FOREIGN) or zipfile.is_zipfile(BytesIO(content)):
        raise PictureRefused(
            say("This file is a photo and something else at once, so it is not taken. Take the photo anew, or save it "
                "again in a picture program.")
        )  # fmt: skip
    return kind


def jpeg_scans(content: bytes) -> int:
    """Count the passes of the first picture in a JPEG file (ITU-T T.81, annex B), without unpacking any.

    Parameters
    ----------
    content : bytes
        The file.

    Returns
    -------
    int
        Up to where the picture ends, or can no longer be followed.
    """
    scans, at = 0, 2
    while marker := _MARKER.search(content, at):
        at, kind = marker.end(), content[marker.end() - 1]
        if kind == 0xD9:  # end of image; telephones put more behind it
            break
        if kind == 0x01:  # stands alone
            continue
        scans += kind == 0xDA
        # Length of the segment, itself counted; the packed pixels behind a scan's head hold no marker of this form.
        at += int.from_bytes(content[at : at + 2])
    return scans


def _sniffed(content: bytes) -> str | None:
    """Give the format that the first bytes tell."""
    if content.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "WEBP"
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        return "HEIF"
    return None


def _opened(content: bytes, kind: str) -> Image.Image:
    """Open without unpacking."""
    from PIL import Image

    if kind == "HEIF":
        from pi_heif import HeifImageFile

        # The class itself: registering it would change Pillow for the whole process.
        heif: Image.Image = HeifImageFile(BytesIO(content))
        return heif
    return Image.open(BytesIO(content), formats=[kind])


def _drawn(image: Image.Image, kind: str, zone: tzinfo | None, now: datetime) -> Picture:
    """Draw a picture anew."""
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise PictureRefused(_too_many_pixels())
    if min(width, height) < LEAST_SIDE:
        raise PictureRefused(say("This picture is only {width} by {height} pixels.", width=width, height=height))
    # Telephones put depth maps and brighter versions beside a JPEG or HEIC; these are no moving pictures.
    if kind in ("PNG", "WEBP") and getattr(image, "is_animated", False):
        raise PictureRefused(say("Moving pictures are not taken; send a still photo."))
    taken, turned = _taken(image, zone, now), _turned(image)
    profile = image.info.get("icc_profile")
    if kind == "JPEG":
        image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # unpacks a large photo at half or a quarter of its size
    image.load()
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    plain = _upright(_in_srgb(image, profile), turned)
    return Picture(_shrunk(plain, LONGEST_SIDE, QUALITY), _shrunk(plain, SMALL_SIDE, SMALL_QUALITY), *plain.size, taken)


def _in_srgb(image: Image.Image, profile: object) -> Image.Image:
    """Give plain red, green and blue of sRGB on white: colours of leaves must not hang on a profile that is dropped."""
    from PIL import Image, ImageCms

    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        image = Image.new("RGB", clear.size, "white")
        image.paste(clear, mask=clear.getchannel("A"))
    if isinstance(profile, bytes) and len(profile) <= MOST_PROFILE_BYTES and image.mode in ("RGB", "CMYK"):
        try:
            given = ImageCms.ImageCmsProfile(BytesIO(profile))
            turned = ImageCms.profileToProfile(image, given, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError):
            turned = None  # a profile that cannot be read is as good as none
        image = turned or image
    return image.convert("RGB")


def _shrunk(image: Image.Image, side: int, quality: int) -> bytes:
    """Write a picture as JPEG, no longer than `side`, with nothing but its pixels."""
    from PIL import Image

    bare = Image.new("RGB", image.size)  # a new picture: comments and profiles would be carried over in `info`
    bare.paste(image)
    bare.thumbnail((side, side))
    out = BytesIO()
    bare.save(out, "JPEG", quality=quality, optimize=True, progressive=True)
    return out.getvalue()


def _taken(image: Image.Image, zone: tzinfo | None, now: datetime) -> datetime | None:
    """Read when the camera took it; None where it does not say, or says something impossible."""
    try:
        told: Mapping[int, Any] = image.getexif().get_ifd(_EXIF_GROUP)
        written = str(told[_TAKEN]).strip("\0 ")
        offset = str(told.get(_TAKEN_OFFSET, "")).strip("\0 ")
        if offset:
            moment = datetime.strptime(f"{written} {offset}", "%Y:%m:%d %H:%M:%S %z")
        else:
            moment = datetime.strptime(f"{written} +0000", "%Y:%m:%d %H:%M:%S %z").replace(tzinfo=zone)
    except Exception:  # hostile metadata fails in every way there is; the photo is worth having without it
        return None
    if moment.tzinfo is None:
        return None
    return moment if moment.year >= 1990 and moment <= now + AHEAD else None


def _turned(image: Image.Image) -> int:
    """Read how the camera was held: 1 to 8, 1 where it does not say. HEIC is upright when it is opened."""
    try:
        return int(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # as for the time
        return 1


def _upright(image: Image.Image, turned: int) -> Image.Image:
    """Turn a picture upright."""
    from PIL.Image import Transpose

    # EXIF 2.32, tag 274.
    ways = {
        2: Transpose.FLIP_LEFT_RIGHT,
        3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM,
        5: Transpose.TRANSPOSE,
        6: Transpose.ROTATE_270,
        7: Transpose.TRANSVERSE,
        8: Transpose.ROTATE_90,
    }
    return image.transpose(ways[turned]) if turned in ways else image


def too_many_bytes() -> str:
    """Say that a file is too large."""
    return say("The file is larger than {most} MB; send a smaller photo.", most=MOST_BYTES // 1_000_000)


def _too_many_pixels() -> str:
    return say("The photo has more than {most} million pixels; send a smaller one.", most=MOST_PIXELS // 1_000_000)


def _broken(kind: str) -> str:
    return say("This {kind} file is damaged or cut short; take or send the photo again.", kind=KINDS[kind])
