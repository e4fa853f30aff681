"""A photograph as a phone gives it, made ready to keep: told by its content, turned upright, nothing but its pixels.

Phones write place, time and owner into their photographs. What is kept is built anew from the pixels alone, so that
nothing else can be in it.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from typing import Any

from dustcap.errors import InputError

MOST_BYTES = 40_000_000
MOST_PIXELS = 220_000_000
LONGEST = 3000
"""Pixels of the longer side that are kept: 0.06 mm of a board 180 mm long."""
LEAST = 64
QUALITY = 88
JPEG, PNG, HEIC = "JPEG", "PNG", "HEIC"
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_WHERE = "photo"
_SORTS = "Send a JPEG, PNG or HEIC photograph."


@dataclass(frozen=True, slots=True)
class Photograph:
    """Pixels as JPEG, with nothing beside them."""

    content: bytes
    width: int
    height: int


def sort_of(content: bytes) -> str:
    """What kind of photograph the bytes are, whatever the file was called.

    Raises
    ------
    InputError
        If they are none that is read here.
    """
    if content.startswith(b"\xff\xd8\xff"):
        return JPEG
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if content[4:8] == b"ftyp" and content[8:12] in _HEIC_BRANDS:
        return HEIC
    raise InputError("this is no photograph.", where=_WHERE, mend=_SORTS)


def read_photograph(content: bytes) -> Photograph:
    """The photograph upright, at most 3000 pixels long, rebuilt from its pixels.

    Raises
    ------
    InputError
        If it is empty, too large, damaged, of another kind, or HEIC and the extra that reads it is missing.
    """
    if not content:
        raise InputError("no photograph was sent.", where=_WHERE, mend="Choose a file first.")
    if len(content) > MOST_BYTES:
        raise InputError(f"the file is larger than {MOST_BYTES // 1_000_000} MB.", where=_WHERE, mend=_SORTS)
    sort = sort_of(content)
    if sort == HEIC:
        _learn_heic()
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about its size, which is judged below, and odd tags, which are dropped
            image: Any = Image.open(io.BytesIO(content), formats=["HEIF" if sort == HEIC else sort])
            _check_size(image.size)
            if sort == JPEG:
                image.draft("RGB", (LONGEST, LONGEST))
            upright = _plain(ImageOps.exif_transpose(image))
    except InputError:
        raise
    except Exception as error:  # a damaged file fails in as many ways as there are decoders
        raise InputError("the photograph is damaged.", where=_WHERE, mend="Send it once more.") from error
    return _rebuilt(upright)


def _plain(image: Any) -> Any:
    """Red, green and blue; what is transparent becomes white."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        from PIL import Image

        ground = Image.new("RGBA", image.size, "white")
        ground.alpha_composite(image.convert("RGBA"))
        return ground.convert("RGB")
    if image.mode.startswith("I;16") or image.mode == "I":
        return image.point(lambda level: level / 256).convert("L").convert("RGB")
    return image.convert("RGB")


def _rebuilt(image: Any) -> Photograph:
    from PIL import Image

    image.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS)
    bare = Image.frombytes("RGB", image.size, image.tobytes())
    kept = io.BytesIO()
    bare.save(kept, "JPEG", quality=QUALITY, optimize=True)
    return Photograph(kept.getvalue(), *bare.size)


def _check_size(size: tuple[int, int]) -> None:
    width, height = size
    if width * height > MOST_PIXELS:
        most = MOST_PIXELS // 1_000_000
        raise InputError(
            f"the photograph has more than {most} million pixels.", where=_WHERE, mend="Send a smaller one."
        )
    if min(size) < LEAST:
        raise InputError(f"the photograph has {width} by {height} pixels.", where=_WHERE, mend="Send it in full size.")


def _learn_heic() -> None:
    try:
        from pillow_heif import register_heif_opener
    except ImportError as error:
        raise InputError(
            "reading HEIC needs an extra that is not installed.",
            where=_WHERE,
            mend="Install it with: pip install 'dustcap[heif]', or set the phone's camera to JPEG.",
        ) from error
    register_heif_opener()
