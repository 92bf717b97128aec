"""Pictures that belong to a report of work: looked at before they are kept, each kept once."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Final

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from PIL import Image, UnidentifiedImageError

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.repeats import CONFLICT, difference
from accounts.services import record as leave_entry
from scheduling.models import ServicePhoto, ServiceRecord
from scheduling.services.work.picture_facts import without_facts

MOST_BYTES: Final = 10_000_000
MOST_PIXELS: Final = 60_000_000
MOST_PHOTOS: Final = 40
_TYPES: Final = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that was looked at."""

    content: bytes
    media_type: str
    width: int
    height: int
    digest: str


def read_picture(file: UploadedFile) -> Picture:
    """Look at a picture before it is kept, and leave out what the camera wrote beside it.

    Raises InvalidInput when it is none that is taken, or too large.
    """
    if (file.size or 0) > MOST_BYTES:
        raise _refused(f"the picture has {file.size} bytes; at most {MOST_BYTES} are taken. Send a smaller one.")
    sent = file.read()
    kind, width, height = _type_and_size(sent)
    # By what was sent a picture that comes again is known.
    digest = hashlib.sha256(sent).hexdigest()
    return Picture(_cleaned(sent, kind), _TYPES[kind], width, height, digest)


def add_photo(
    *, record: ServiceRecord, by: Membership, file: UploadedFile, kind: str, caption: str, now: datetime
) -> tuple[ServicePhoto, bool]:
    """Keep a picture of a report, without what the camera wrote beside it.

    One that was sent before, with the same kind and caption, is found again.

    Returns
    -------
    The picture, and whether it is new.

    Raises
    ------
    InvalidInput
        When it is no JPEG, PNG or WebP picture, whatever it is called, or too large.
    Conflict
        When the report has as many as are kept, or has this picture already with another kind or caption.
    """
    picture = read_picture(file)
    with transaction.atomic():
        ServiceRecord.objects.select_for_update(no_key=True).get(pk=record.pk)
        stored = ServicePhoto.objects.filter(record=record, digest=picture.digest).first()
        if stored is not None:
            refuse_other_words({"kind": (stored.kind, kind), "caption": (stored.caption, caption)})
            return stored, False
        if ServicePhoto.objects.filter(record=record).count() >= MOST_PHOTOS:
            raise Conflict("enough_photos", f"A report keeps {MOST_PHOTOS} pictures at most.")
        photo = ServicePhoto(
            record=record,
            kind=kind,
            media_type=picture.media_type,
            size=len(picture.content),
            width=picture.width,
            height=picture.height,
            digest=picture.digest,
            caption=caption,
            sent_by=by,
            received_at=now,
        )
        photo.file.save("picture", ContentFile(picture.content), save=False)
        photo.save()
        leave_entry(by=by, action="add photo", subject=photo, details={"record": record.pk, "kind": kind}, now=now)
    return photo, True


def refuse_other_words(words: Mapping[str, tuple[str, str]]) -> None:
    """A picture is its own reference, and what is sent with it a second time is what was sent the first time.

    `words` has, by their field, what is stored and what is sent. Conflict where they differ.
    """
    differences = [one for name, (stored, sent) in words.items() for one in difference(name, stored, sent)]
    if differences:
        faults = [Fault(f"/{one.field}", f"{one.sentence_of('This picture is stored')}.") for one in differences]
        sentence = "There is this picture already, sent with other words; send it again as it was sent first."
        raise Conflict(CONFLICT, sentence, faults=faults)


def cleaned_file(content: bytes, media_type: str) -> bytes:
    """A stored picture of a media type without what a camera wrote beside it.

    Raises ValueError, with the reason, when it is no picture of that type or its parts do not follow one another.
    """
    kinds = {kept: kind for kind, kept in _TYPES.items()}
    try:
        with Image.open(BytesIO(content), formats=[kinds[media_type]]) as picture:
            picture.verify()
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError) as error:
        raise ValueError(f"the file is no {kinds[media_type]} picture, or it is damaged") from error
    return without_facts(content, kinds[media_type])


def _type_and_size(content: bytes) -> tuple[str, int, int]:
    """Kind of file and size of a picture, by what is in it and not by what it is called."""
    try:
        with Image.open(BytesIO(content), formats=list(_TYPES)) as picture:
            kind, (width, height) = str(picture.format), picture.size
            if width * height > MOST_PIXELS:
                raise _refused(f"the picture has {width} x {height} pixels; at most {MOST_PIXELS} in all are taken.")
            picture.verify()
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError, ValueError) as error:
        raise _refused("the file is no JPEG, PNG or WebP picture, or it is damaged; send one of these.") from error
    return kind, width, height


def _cleaned(content: bytes, kind: str) -> bytes:
    """The picture without place, time and device, which cameras write beside it."""
    try:
        return without_facts(content, kind)
    except ValueError as error:
        raise _refused("the file is damaged: its parts do not follow one another; send it again.") from error


def _refused(sentence: str) -> InvalidInput:
    return InvalidInput("picture_not_valid", sentence, faults=[Fault("/file", sentence)])
