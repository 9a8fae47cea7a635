"""What a photograph loses and keeps. Pictures are made here, by Pillow and by hand from the published formats."""

import struct
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from webapp.photographs import LARGEST, LONG_SIDE, PhotographRefused, clean

SIZE = (400, 300)


def picture(mode: str = "RGB", size: tuple[int, int] = SIZE) -> Image.Image:
    """Red above left, green above right, blue below left, white below right: upright can be told."""
    image = Image.new("RGB", size, "white")
    half = (size[0] // 2, size[1] // 2)
    image.paste((200, 30, 30), (0, 0, *half))
    image.paste((30, 160, 30), (half[0], 0, size[0], half[1]))
    image.paste((30, 30, 200), (0, half[1], half[0], size[1]))
    if mode == "P":
        return image.quantize(16)
    return image if mode == "RGB" else image.convert(mode)


def sent(image: Image.Image, kind: str = "JPEG", **options: object) -> bytes:
    out = BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def corners(jpeg: bytes) -> list[str]:
    """The nearest of the four colours at each corner, reading order."""
    named = {"red": (200, 30, 30), "green": (30, 160, 30), "blue": (30, 30, 200), "white": (255, 255, 255)}
    image = Image.open(BytesIO(jpeg)).convert("RGB")
    width, height = image.size
    places = [(width // 4, height // 4), (3 * width // 4, height // 4)]
    places += [(x, 3 * height // 4) for x, _ in places]
    found = [np.array(image.getpixel(place), dtype=int) for place in places]
    return [min(named, key=lambda name: int(np.abs(np.array(named[name]) - seen).sum())) for seen in found]


UPRIGHT = ["red", "green", "blue", "white"]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_each_kind_becomes_a_small_jpeg(kind: str) -> None:
    made = clean(sent(picture(size=(3000, 2000)), kind), "vein.x")
    assert (made.width, made.height) == (LONG_SIDE, 1067)
    read = Image.open(BytesIO(made.jpeg))
    assert (read.format, read.mode, read.size) == ("JPEG", "RGB", (1600, 1067))
    assert corners(made.jpeg) == UPRIGHT


def test_a_small_picture_keeps_its_size_and_the_same_file_gives_the_same_bytes() -> None:
    one, two = (clean(sent(picture(), "PNG"), "a.png") for _ in range(2))
    assert (one.width, one.height) == SIZE
    assert one.jpeg == two.jpeg


def test_place_camera_comment_and_thumbnail_are_gone() -> None:
    # Tags by their numbers in Exif 2.32 (CIPA DC-008-2019): 0x8825 GPS, 0x010F maker, 0x9286 comment of the user.
    exif = Image.Exif()
    exif[0x010F] = "Camera of nowhere"
    exif.get_ifd(0x8825).update({1: "N", 2: (39.0, 45.0, 12.5), 3: "W", 4: (105.0, 13.0, 4.25), 0x1D: "2026:03:14"})
    exif.get_ifd(0x8769)[0x9286] = b"ASCII\0\0\0my own safe"
    before = sent(picture(), exif=exif, comment=b"found at the old adit", dpi=(300, 300))
    read = Image.open(BytesIO(before)).getexif()
    assert read.get_ifd(0x8825)[1] == "N"  # the place is there before
    made = clean(before, "vein.jpg").jpeg
    after = Image.open(BytesIO(made))
    assert not after.getexif() and not after.getexif().get_ifd(0x8825)
    assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for secret in (b"Exif", b"nowhere", b"safe", b"adit", b"2026:03:14", b"http"):
        assert secret not in made


def test_the_only_segments_left_are_those_of_the_picture() -> None:
    # Markers of ISO/IEC 10918-1, table B.1: no APP1 to APP15 (0xE1 to 0xEF), no comment (0xFE).
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    jpeg = clean(sent(picture(), icc_profile=profile), "a").jpeg
    place, markers = 2, []
    while jpeg[place + 1] != 0xDA:
        markers.append(jpeg[place + 1])
        place += 2 + struct.unpack(">H", jpeg[place + 2 : place + 4])[0]
    assert set(markers) == {0xE0, 0xDB, 0xC0, 0xC4}


# The picture as it lies in the file for each value of the tag, so that it is upright when turned as Exif 2.32 says.
LYING = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


@pytest.mark.parametrize("orientation", LYING)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_it_stands_as_it_was_seen(kind: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    turn = LYING[orientation]
    lying = picture() if turn is None else picture().transpose(turn)
    made = clean(sent(lying, kind, exif=exif), "vein")
    assert (made.width, made.height) == SIZE
    assert corners(made.jpeg) == UPRIGHT


@pytest.mark.parametrize("mode", ["RGBA", "P", "L", "1", "LA", "I;16", "CMYK", "YCbCr"])
def test_every_way_of_keeping_colours(mode: str) -> None:
    if mode == "I;16":
        grey = (np.asarray(picture("L")).astype(np.uint16) * 257).astype("<u2")
        image = Image.fromarray(grey)
        assert image.mode == "I;16"
    else:
        image = picture(mode)
    made = clean(sent(image, "JPEG" if mode in ("CMYK", "YCbCr") else "PNG"), "a")
    got = np.asarray(Image.open(BytesIO(made.jpeg)).convert("L"), dtype=float)
    want = np.asarray(picture("L"), dtype=float)
    if mode == "1":  # dithered: right on the whole
        assert abs(got.mean() - want.mean()) < 8
    else:
        assert np.abs(got - want).mean() < 4


def test_sixteen_bits_and_a_lossy_palette_survive_downscaling() -> None:
    ramp = np.tile(np.linspace(0, 65535, 4000).astype("<u2"), (50, 1))
    made = clean(sent(Image.fromarray(ramp), "PNG"), "ramp.png")
    row = np.asarray(Image.open(BytesIO(made.jpeg)).convert("L"), dtype=float)[10]
    assert row[0] < 4 and row[-1] > 251 and np.abs(row - np.linspace(0, 255, row.size)).max() < 5
    assert corners(clean(sent(picture("P", (3000, 2000)), "PNG"), "p.png").jpeg) == UPRIGHT


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_what_can_be_seen_through_lies_on_white(kind: str) -> None:
    image = picture("RGBA")
    image.putalpha(0)
    made = np.asarray(Image.open(BytesIO(clean(sent(image, kind), "glass").jpeg)))
    assert made.min() >= 254


def test_a_palette_with_a_colour_that_is_seen_through() -> None:
    image = Image.new("P", (20, 20), 0)
    image.putpalette([0, 0, 0, 200, 30, 30])
    image.paste(1, (0, 0, 20, 10))
    made = np.asarray(Image.open(BytesIO(clean(sent(image, "PNG", transparency=0), "p").jpeg)))
    assert made[-1, -1].min() > 245 and made[2, 2][0] > 150


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_of_moving_pictures_the_first_is_taken(kind: str) -> None:
    frames = [picture(), Image.new("RGB", SIZE, "black")]
    moving = sent(frames[0], kind, save_all=True, append_images=frames[1:], duration=100)
    assert getattr(Image.open(BytesIO(moving)), "n_frames", 1) == 2
    assert corners(clean(moving, "moving").jpeg) == UPRIGHT


def test_colours_of_another_profile_become_srgb() -> None:
    # A profile whose red and blue are swapped shows plainly whether it was followed. Tags: ICC.1:2022, 9.2.
    plain = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    (count,) = struct.unpack(">I", plain[128:132])
    swapped = bytearray(plain)
    for i in range(count):
        at = 132 + 12 * i
        name = bytes(plain[at : at + 4])
        if name in (b"rXYZ", b"bXYZ"):
            swapped[at : at + 4] = b"bXYZ" if name == b"rXYZ" else b"rXYZ"
    red = Image.new("RGB", (40, 40), (220, 20, 20))
    made = Image.open(BytesIO(clean(sent(red, "PNG", icc_profile=bytes(swapped)), "p").jpeg)).convert("RGB")
    seen = made.getpixel((20, 20))
    assert isinstance(seen, tuple) and seen[2] > 180 > 90 > seen[0]


def test_a_profile_that_is_nonsense_counts_for_nothing() -> None:
    made = clean(sent(picture(), "PNG", icc_profile=b"not a profile at all" * 10), "p")
    assert corners(made.jpeg) == UPRIGHT


def test_what_is_hidden_behind_a_picture_does_not_get_through() -> None:
    # A file that is a picture and a page at once: decoders stop at the end of the picture.
    page = b"<script>alert(1)</script>PK\x03\x04 a whole archive"
    for kind in ("JPEG", "PNG"):
        made = clean(sent(picture(), kind) + page, "both.jpg")
        assert b"script" not in made.jpeg and b"PK\x03\x04" not in made.jpeg
        assert made.jpeg.endswith(b"\xff\xd9")


def png_claiming(width: int, height: int) -> bytes:
    """A PNG of a few bytes that says that it is this large (ISO/IEC 15948, 11.2.2)."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def jpeg_claiming(width: int, height: int) -> bytes:
    """A small JPEG whose frame header says that it is this large (ISO/IEC 10918-1, B.2.2)."""
    jpeg = bytearray(sent(picture()))
    at = jpeg.index(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", height, width)
    return bytes(jpeg)


@pytest.mark.parametrize(
    "bomb", [png_claiming(50_000, 50_000), jpeg_claiming(50_000, 50_000), png_claiming(2**31 - 1, 2**31 - 1)]
)
def test_a_picture_that_claims_to_be_huge_is_refused_before_it_is_decoded(bomb: bytes) -> None:
    with pytest.raises(PhotographRefused, match=r"^bomb\.png (has \d+ by \d+ pixels.*(50|25) million|is no JPEG)"):
        clean(bomb, "bomb.png")


def test_a_real_bomb_of_a_few_kilobytes_is_refused() -> None:
    wide = sent(Image.new("1", (60_000, 900)), "PNG")
    assert len(wide) < 20_000
    with pytest.raises(PhotographRefused, match="60000 by 900 pixels"):
        clean(wide, "wide.png")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_cut_short_is_refused(kind: str) -> None:
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (300, 400, 3), dtype=np.uint8))
    whole = sent(noise, kind)
    clean(whole, "whole")
    with pytest.raises(PhotographRefused, match=r"^cut\.jpg is (damaged or not complete|no JPEG)"):
        clean(whole[: len(whole) * 2 // 3], "cut.jpg")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7 not a picture", "is no JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is no JPEG, PNG or WebP"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 50, "HEIC"),
        (b"\xff" * (LARGEST + 1), "a photograph may have 10 MB"),
        (b"\x89PNG\r\n\x1a\n", "is no JPEG"),
    ],
)
def test_what_is_no_picture_is_named_with_what_to_do(data: bytes, words: str) -> None:
    with pytest.raises(PhotographRefused, match=words) as refused:
        clean(data, "thing.bin")
    assert str(refused.value).startswith("thing.bin ")
    assert str(refused.value).endswith(".")


def test_other_kinds_that_the_decoder_would_know_are_refused() -> None:
    for kind in ("GIF", "TIFF", "BMP"):
        with pytest.raises(PhotographRefused, match="is no JPEG"):
            clean(sent(picture(), kind), "a")


@pytest.mark.parametrize("seed", range(40))
def test_damage_anywhere_is_either_read_or_refused(seed: int) -> None:
    rng = np.random.default_rng(seed)
    kind = ("JPEG", "PNG", "WEBP")[seed % 3]
    data = bytearray(sent(picture(), kind))
    for at in rng.integers(0, len(data), 12):
        data[at] = rng.integers(0, 256)
    try:
        made = clean(bytes(data), "x")
    except PhotographRefused:
        return
    assert Image.open(BytesIO(made.jpeg)).size == (made.width, made.height)


def test_pictures_of_the_project_pass() -> None:
    for file in Path("webapp/static/pictures").glob("*.png"):
        assert clean(file.read_bytes(), file.name).width > 100
