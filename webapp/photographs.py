"""A picture that somebody sends -> a clean JPEG: upright, of a size for screen and paper, and only the picture.

What comes in is untrusted. It is decoded under a bound of pixels and written anew from its pixels alone, so that
neither the place where it was taken, nor the camera, nor anything that was hidden in the file gets out again.
"""

from __future__ import annotations

import struct
import threading
from dataclasses import dataclass
from io import BytesIO

import numpy as np
from PIL import Image, ImageCms

LARGEST = 10 * 1024 * 1024  # bytes, as sent
# A JPEG is decoded straight to a smaller size; the others are decoded whole, in about 15 bytes a pixel.
MOST_PIXELS = {"JPEG": 50_000_000, "MPO": 50_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
LONG_SIDE = 1600  # pixels: 20 cm at 200 to the inch
QUALITY = 85
FORMATS = ("JPEG", "PNG", "WEBP")
_ORIENTATION = 0x0112  # Exif 2.32 (CIPA DC-008), table 4
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
# Brands of ISO base media files that telephones write (ISO/IEC 23008-12, 10; AV1 image files).
_TELEPHONE = (b"heic", b"heix", b"heif", b"mif1", b"msf1", b"avif")

# Pillow only warns where it is not sure; here the bound is exact, and held before anything is decoded.
Image.MAX_IMAGE_PIXELS = None
_one_at_a_time = threading.Lock()  # each may need some hundreds of MB


class PhotographRefused(Exception):  # noqa: N818
    """A picture that cannot be taken; the text names it and says what to do."""

    def __init__(self, name: str, why: str) -> None:
        super().__init__(f"{name[:80] or 'The picture'} {why}")


@dataclass(frozen=True)
class Photograph:
    """A clean photograph.

    Parameters
    ----------
    jpeg : bytes
        Baseline JPEG in sRGB, without metadata; the same for the same file sent.
    """

    jpeg: bytes
    width: int
    height: int


def clean(sent: bytes, name: str) -> Photograph:
    """The photograph in a file that was sent; of one that moves, its first picture.

    Raises
    ------
    PhotographRefused
        It is too large, or no JPEG, PNG or WebP picture that can be read to its end.
    """
    if not sent:
        raise PhotographRefused(name, "is empty. Choose the picture again.")
    if len(sent) > LARGEST:
        raise PhotographRefused(
            name,
            f"has {len(sent) / 1024**2:.1f} MB; a photograph may have {LARGEST // 1024**2} MB. Save it smaller and "
            "send that.",
        )
    with _one_at_a_time:
        image = _opened(sent, name)
        try:
            turn = _turn(image)
            made = _in_srgb(_shrunk(image))
            made = made if turn is None else made.transpose(turn)
        except Exception as damage:  # decoders of damaged files raise nearly anything
            why = "is damaged or not complete: it cannot be read to its end. Take the picture again, or copy it anew."
            raise PhotographRefused(name, why) from damage
    return Photograph(_written(made), *made.size)


def _opened(sent: bytes, name: str) -> Image.Image:
    """The picture with its size known and nothing decoded yet."""
    try:
        image = Image.open(BytesIO(sent), formats=FORMATS)
    except Exception as unknown:
        raise PhotographRefused(name, _what_it_is(sent)) from unknown
    width, height = image.size
    kind, most = (image.format or "").replace("MPO", "JPEG"), MOST_PIXELS.get(image.format or "", 0)
    if width * height > most:
        raise PhotographRefused(
            name,
            f"has {width} by {height} pixels; a {kind} photograph may have {most // 1_000_000} million. "
            "Save it smaller and send that.",
        )
    image.draft("", (LONG_SIDE, LONG_SIDE))  # so that a JPEG is decoded straight to about this size
    return image


def _what_it_is(sent: bytes) -> str:
    if sent[4:8] == b"ftyp" and any(brand in sent[8:64] for brand in _TELEPHONE):
        return (
            "is a picture in HEIC or AVIF, which not every program reads. Save or share it as JPEG, or set the "
            "telephone's camera to do so, and send that."
        )
    return "is no JPEG, PNG or WebP picture. Save it as JPEG and send that."


def _shrunk(image: Image.Image) -> Image.Image:
    """The picture, decoded, no larger than needed; grey, RGB, RGBA or CMYK."""
    profile = image.info.get("icc_profile")
    image.load()
    if image.mode.startswith("I"):
        image = Image.fromarray((np.asarray(image).astype(np.int64) >> 8).clip(0, 255).astype(np.uint8))
    elif image.mode not in ("L", "RGB", "RGBA", "CMYK"):
        see_through = "A" in image.getbands() or "transparency" in image.info or image.mode in ("PA", "La", "RGBa")
        image = image.convert("RGBA" if see_through else "RGB")
    elif image.mode in ("L", "RGB") and "transparency" in image.info:
        image = image.convert("RGBA")
    if max(image.size) > LONG_SIDE:
        image.thumbnail((LONG_SIDE, LONG_SIDE), Image.Resampling.LANCZOS, reducing_gap=2.0)
    image.info = {"icc_profile": profile} if profile else {}
    return image


def _in_srgb(image: Image.Image) -> Image.Image:
    """The picture on white, its colours as sRGB has them."""
    profile = image.info.get("icc_profile")
    opacity = image.getchannel("A") if image.mode == "RGBA" else None
    colours = image.convert("RGB") if opacity is not None else image
    if profile:
        colours = _converted(colours, profile)
    colours = colours.convert("RGB")
    page = Image.new("RGB", colours.size, "white")
    page.paste(colours, mask=opacity)
    return page


def _converted(image: Image.Image, profile: bytes) -> Image.Image:
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        made = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image  # a profile that does not fit its picture counts for nothing, as browsers have it
    return image if made is None else made


def _turn(image: Image.Image) -> Image.Transpose | None:
    """How to turn the picture so that it stands as it was seen."""
    try:
        return _TURNS.get(image.getexif().get(_ORIENTATION, 1))
    except (OSError, SyntaxError, ValueError, TypeError, KeyError, struct.error):
        return None  # damaged metadata do not make the picture unreadable


def _written(image: Image.Image) -> bytes:
    out = BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
