"""A picture is kept without what the camera wrote beside it, every pixel as it was; Pillow is the outside reader."""

import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image, PngImagePlugin

from scheduling.services.work.picture_facts import without_facts

SECRET = b"53.5511N-009.9937E"


def exif(orientation: int = 1) -> bytes:
    facts = Image.Exif()
    facts[0x0112] = orientation
    facts[0x010F] = SECRET.decode()
    return facts.tobytes()


def picture(kind: str, orientation: int = 1, **how: object) -> bytes:
    image = Image.effect_noise((40, 24), 60).convert("RGB")
    content = BytesIO()
    image.save(content, kind, exif=exif(orientation), **how)
    return content.getvalue()


def pixels(content: bytes) -> bytes:
    with Image.open(BytesIO(content)) as image:
        image.load()
        return image.tobytes()


@pytest.mark.parametrize(
    ("kind", "how"),
    [
        ("JPEG", {"quality": 80, "comment": SECRET}),
        ("JPEG", {"quality": 80, "progressive": True, "restart_marker_blocks": 1}),
        ("PNG", {}),
        ("WEBP", {"quality": 70, "xmp": SECRET}),
        ("WEBP", {"lossless": True}),
    ],
)
def test_nothing_but_the_picture_is_left(kind: str, how: dict[str, object]) -> None:
    sent = picture(kind, **how)
    assert SECRET in sent
    kept = without_facts(sent, kind)
    assert SECRET not in kept
    assert pixels(kept) == pixels(sent)
    with Image.open(BytesIO(kept)) as image:
        image.verify()
    with Image.open(BytesIO(kept)) as image:
        assert dict(image.getexif()) == {}
    assert without_facts(kept, kind) == kept


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_which_way_up_it_is_held_is_still_told(orientation: int) -> None:
    kept = without_facts(picture("JPEG", orientation), "JPEG")
    assert SECRET not in kept
    with Image.open(BytesIO(kept)) as image:
        assert dict(image.getexif()) == {0x0112: orientation}


def test_words_in_a_png_and_what_hangs_behind_a_picture_are_left_out() -> None:
    words = PngImagePlugin.PngInfo()
    words.add_text("Comment", SECRET.decode())
    words.add_text("Where", SECRET.decode(), zip=True)
    words.add_itxt("Note", SECRET.decode())
    content = BytesIO()
    Image.new("RGB", (4, 4)).save(content, "PNG", pnginfo=words)
    sent = content.getvalue() + picture("JPEG")
    kept = without_facts(sent, "PNG")
    assert SECRET not in kept
    assert zlib.compress(SECRET) not in kept
    assert kept.endswith(b"IEND" + struct.pack(">I", zlib.crc32(b"IEND")))
    behind = without_facts(picture("JPEG") + picture("JPEG"), "JPEG")
    assert behind == without_facts(picture("JPEG"), "JPEG") or SECRET not in behind


def test_a_colour_profile_stays() -> None:
    kept = without_facts(picture("JPEG", icc_profile=b"profile of a display"), "JPEG")
    with Image.open(BytesIO(kept)) as image:
        assert image.info["icc_profile"] == b"profile of a display"


@pytest.mark.parametrize(("kind", "length"), [("JPEG", 400), ("JPEG", 700), ("PNG", 11), ("WEBP", 14)])
def test_what_ends_in_the_middle_of_a_part_is_no_picture(kind: str, length: int) -> None:
    with pytest.raises(ValueError, match="middle of a part"):
        without_facts(picture(kind)[:length], kind)
