"""Photographs are told by their content, turned upright and rebuilt from their pixels."""

import io
import struct
import sys
import zlib

import pytest
from board_pictures import as_bytes, picture
from PIL import Image

from dustcap.errors import InputError
from dustcap.job.photo_reading import LONGEST, read_photograph

PLACE = "51 deg 30 N of nowhere"


def phone_bytes(image, sort="JPEG", orientation=1):
    """A file that carries what phones write: orientation, maker, a position."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "invented maker"
    exif[0x010E] = PLACE
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 30.0, 12.0), 3: "E", 4: (4.0, 5.0, 6.0)})
    kept = {"exif": exif.tobytes(), "quality": 95} if sort != "PNG" else {"exif": exif.tobytes()}
    return as_bytes(image, sort, **kept)


@pytest.fixture
def corner():
    """A picture whose upper left quarter alone is red."""
    image = Image.new("RGB", (200, 120), "white")
    image.paste((220, 0, 0), (0, 0, 100, 60))
    return image


def test_a_jpeg_keeps_its_pixels_and_nothing_else():
    """No EXIF block, no position, no text of the file is left in what is kept."""
    sent = phone_bytes(picture({"C9": (40, 30)}))
    assert PLACE.encode() in sent
    assert b"Exif" in sent

    kept = read_photograph(sent)

    found = Image.open(io.BytesIO(kept.content))
    assert not found.getexif()
    assert found.size == (kept.width, kept.height) == (1200, 900)
    for left in (b"Exif", b"GPS", PLACE.encode(), b"invented maker", b"http", b"ICC_PROFILE"):
        assert left not in kept.content
    assert _segments(kept.content) <= {0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDA}


def _segments(content):
    """Markers of a JPEG file up to its pixels (JFIF, tables, frame, scan and no other)."""
    found, place = set(), 2
    while content[place] == 0xFF:
        marker, length = struct.unpack(">xBH", content[place : place + 4])
        found.add(marker)
        place += 2 + length
        if marker == 0xDA:
            break
    return found


@pytest.mark.parametrize("sort", ["JPEG", "PNG", "HEIF"])
def test_three_sorts_are_read(corner, sort):
    """JPEG, PNG and HEIC come out as the same picture."""
    if sort == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()

    kept = read_photograph(phone_bytes(corner, sort))

    found = Image.open(io.BytesIO(kept.content)).convert("RGB")
    assert found.size == (200, 120)
    assert found.getpixel((30, 30))[1] < 60
    assert found.getpixel((170, 90))[1] > 200
    assert not found.getexif()
    assert PLACE.encode() not in kept.content


@pytest.mark.parametrize(
    ("orientation", "size", "red"),
    [(1, (200, 120), (20, 20)), (3, (200, 120), (180, 100)), (6, (120, 200), (100, 20)), (8, (120, 200), (20, 180))],
)
def test_the_orientation_is_applied(corner, orientation, size, red):
    """What a phone held sideways took comes out as it was seen (EXIF orientation 1, 3, 6, 8)."""
    kept = read_photograph(phone_bytes(corner, orientation=orientation))

    found = Image.open(io.BytesIO(kept.content)).convert("RGB")
    assert found.size == size
    assert found.getpixel(red)[1] < 80
    assert found.getpixel((size[0] - red[0], size[1] - red[1]))[1] > 180


def test_a_large_photograph_is_made_smaller():
    """The longer side is brought to 3000 pixels, the shape kept."""
    kept = read_photograph(as_bytes(Image.new("RGB", (6400, 3200), "#445566")))

    assert (kept.width, kept.height) == (LONGEST, LONGEST // 2)


def test_what_is_transparent_becomes_white():
    """A picture with alpha gets a white ground."""
    kept = read_photograph(as_bytes(Image.new("RGBA", (100, 100), (0, 0, 0, 0)), "PNG"))

    assert Image.open(io.BytesIO(kept.content)).convert("RGB").getpixel((50, 50)) == (255, 255, 255)


def huge_png():
    """A PNG of 60000 by 60000 pixels in a few bytes."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 60000, 60000, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no photograph was sent"),
        (b"GIF89a" + b"\0" * 50, "is no photograph"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is no photograph"),
        (b"\xff\xd8\xff" + b"nonsense" * 40, "damaged"),
        (as_bytes(Image.new("RGB", (400, 300), "red"))[:900], "damaged"),
        (as_bytes(Image.new("RGB", (20, 20), "red")), "20 by 20 pixels"),
        (huge_png(), "million pixels|damaged"),
        (b"\xff\xd8\xff" + bytes(40_000_000), "larger than 40 MB"),
    ],
)
def test_what_is_no_photograph_is_refused_in_one_line(content, says):
    """Empty, of another kind, damaged, cut short, too small, too large."""
    with pytest.raises(InputError, match=says) as why:
        read_photograph(content)

    assert why.value.mend
    assert "\n" not in str(why.value)


def test_a_missing_extra_is_one_line(corner, monkeypatch):
    """HEIC without the package that reads it says what to install."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    content = as_bytes(corner, "HEIF")
    monkeypatch.setitem(sys.modules, "pillow_heif", None)

    with pytest.raises(InputError, match="an extra that is not installed") as why:
        read_photograph(content)

    assert "dustcap[heif]" in str(why.value)
