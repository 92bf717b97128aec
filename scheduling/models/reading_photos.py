"""Pictures that come with a reading: what somebody saw at a unit, as they saw it."""

from typing import ClassVar

from django.db import models

from accounts.models import Membership
from fleet.models import PassedOn, Reading
from scheduling.models.visits import PICTURE_ENDINGS


def reading_photo_path(photo: "ReadingPhoto", name: str) -> str:
    """Where a picture is kept: by company, under its digest, so that no name of a sender reaches the disk."""
    company, ending = photo.reading.unit.company_id, PICTURE_ENDINGS[photo.media_type]
    return f"company-{company}/reading-{photo.reading_id}/{photo.digest}.{ending}"


class ReadingPhoto(PassedOn):
    """A picture that belongs to a reading, such as the report that water is on the floor."""

    TENANT_PATH = "reading__unit__company_id"
    CLIENT_PATH = "reading__unit__site__client_id"
    HELD_THROUGH = "reading__unit"
    HAPPENED_AT = "reading__taken_at"
    IS_PERSONAL = True

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="photos")
    file = models.FileField(upload_to=reading_photo_path, max_length=200)
    media_type = models.CharField(max_length=20)
    size = models.PositiveIntegerField(help_text="size of the file in bytes")
    width = models.PositiveIntegerField(help_text="width in pixels")
    height = models.PositiveIntegerField(help_text="height in pixels")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file; the same picture is kept once")
    caption = models.CharField(max_length=200, blank=True)
    sent_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    received_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["reading_id", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["reading", "digest"], name="a_picture_once_a_reading")]

    def __str__(self) -> str:
        return f"picture of reading {self.reading_id}"
