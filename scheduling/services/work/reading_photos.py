"""Pictures that come with a reading; looked at before they are kept, each kept once."""

from datetime import datetime
from typing import Final

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from accounts.errors import Conflict
from accounts.models import Membership
from accounts.services import record as leave_entry
from fleet.models import Reading
from scheduling.models import ReadingPhoto
from scheduling.services.work.photos import read_picture, refuse_other_words

MOST_PHOTOS: Final = 10


def add_reading_photo(
    *, reading: Reading, by: Membership, file: UploadedFile, caption: str, now: datetime
) -> tuple[ReadingPhoto, bool]:
    """Keep a picture of a reading; one that was sent before, with the same caption, is found again.

    Returns
    -------
    The picture, and whether it is new.

    Raises
    ------
    InvalidInput
        When it is no JPEG, PNG or WebP picture, whatever it is called, or too large.
    Conflict
        When the reading has as many as are kept, or has this picture already with another caption.
    """
    picture = read_picture(file)
    with transaction.atomic():
        Reading.objects.select_for_update(no_key=True).get(pk=reading.pk)
        stored = ReadingPhoto.objects.filter(reading=reading, digest=picture.digest).first()
        if stored is not None:
            refuse_other_words({"caption": (stored.caption, caption)})
            return stored, False
        if ReadingPhoto.objects.filter(reading=reading).count() >= MOST_PHOTOS:
            raise Conflict("enough_photos", f"A reading keeps {MOST_PHOTOS} pictures at most.")
        photo = ReadingPhoto(
            reading=reading,
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
        leave_entry(by=by, action="add photo", subject=photo, details={"reading": reading.pk}, now=now)
    return photo, True
