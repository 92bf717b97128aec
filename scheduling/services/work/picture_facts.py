"""Pictures without what a camera writes into them beside the picture: place, time, device, remarks, a small preview.

The pixels stay as they were sent, bit for bit: only the parts around them are left out. Which way up a JPEG is held is
told again in a block of its own; it says nothing of anybody.

The forms are those of ITU-T T.81 annex B (JPEG), of the PNG specification (W3C, third edition) sections 5 and 11, and
of the WebP container specification; the block that tells the way up is that of Exif 2.3. All from memory.
"""

import struct
from collections.abc import Iterator
from io import BytesIO
from typing import Final

from PIL import Image

_ORIENTATION: Final = 0x0112
#: Application blocks of a JPEG that decide what its colours mean: JFIF, the colour profile, and Adobe's transform.
_KEPT_APPLICATIONS: Final = {0xE0, 0xE2, 0xEE}
_COMMENT: Final = 0xFE
_START_OF_SCAN: Final = 0xDA
_END_OF_IMAGE: Final = 0xD9
_COLOUR_PROFILE: Final = b"ICC_PROFILE\x00"
#: Ancillary chunks of a PNG in which people and programs write; all others say how it looks.
_FACTS_IN_PNG: Final = {b"eXIf", b"tEXt", b"zTXt", b"iTXt", b"tIME"}
_FACTS_IN_WEBP: Final = {b"EXIF", b"XMP "}
#: Flags of the extended header of a WebP that say that such chunks are there.
_FACT_FLAGS: Final = 0x08 | 0x04


def without_facts(content: bytes, kind: str) -> bytes:
    """Leave out of a picture what is not the picture.

    Parameters
    ----------
    content
        Of a picture that was looked at before.
    kind
        JPEG, PNG or WEBP.

    Raises
    ------
    ValueError
        When its parts do not follow one another as they must.
    """
    try:
        return {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp}[kind](content)
    except (IndexError, struct.error, OSError) as error:
        raise ValueError("The picture ends in the middle of a part.") from error


def _jpeg(content: bytes) -> bytes:
    with Image.open(BytesIO(content)) as picture:
        orientation = picture.getexif().get(_ORIENTATION, 1)
    kept = bytearray(content[:2])
    has_way_up = orientation == 1
    for marker, block in _blocks(content):
        is_application = 0xE0 <= marker <= 0xEF
        if not has_way_up and marker != 0xE0:
            kept += _way_up(int(orientation))
            has_way_up = True
        if marker == _COMMENT or (is_application and marker not in _KEPT_APPLICATIONS):
            continue
        if marker == 0xE2 and not block[4:].startswith(_COLOUR_PROFILE):
            continue
        kept += block
    return bytes(kept)


def _blocks(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Markers of a JPEG with their blocks, those of a scan with what was scanned; nothing behind the end."""
    at = 2
    while True:
        if content[at] != 0xFF:
            raise ValueError("A part of the picture does not begin with a marker.")
        while content[at + 1] == 0xFF:
            at += 1
        marker = content[at + 1]
        if marker == _END_OF_IMAGE:
            yield marker, content[at : at + 2]
            return
        (length,) = struct.unpack(">H", content[at + 2 : at + 4])
        end = at + 2 + length
        if marker == _START_OF_SCAN:
            # In what was scanned, FF is followed by 00 or by a restart, never by another marker.
            while not (content[end] == 0xFF and content[end + 1] != 0 and not 0xD0 <= content[end + 1] <= 0xD7):
                end += 1
        yield marker, content[at:end]
        at = end


def _way_up(orientation: int) -> bytes:
    """A block that tells which way up a JPEG is held, and nothing else."""
    directory = struct.pack(">HHHIHHI", 1, _ORIENTATION, 3, 1, orientation, 0, 0)
    body = b"Exif\x00\x00MM\x00*" + struct.pack(">I", 8) + directory
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _png(content: bytes) -> bytes:
    kept, at = bytearray(content[:8]), 8
    while at < len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        kind, end = content[at + 4 : at + 8], at + 12 + length
        if kind not in _FACTS_IN_PNG:
            kept += content[at:end]
        if kind == b"IEND":
            break
        at = end
    return bytes(kept)


def _webp(content: bytes) -> bytes:
    kept, at = bytearray(), 12
    (size,) = struct.unpack("<I", content[4:8])
    while at < min(8 + size, len(content)):
        kind = content[at : at + 4]
        (length,) = struct.unpack("<I", content[at + 4 : at + 8])
        end = at + 8 + length + length % 2
        if kind == b"VP8X":
            kept += content[at : at + 8] + bytes([content[at + 8] & ~_FACT_FLAGS]) + content[at + 9 : end]
        elif kind not in _FACTS_IN_WEBP:
            kept += content[at:end]
        at = end
    return b"RIFF" + struct.pack("<I", len(kept) + 4) + b"WEBP" + bytes(kept)
