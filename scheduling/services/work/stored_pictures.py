"""Pictures that were kept as they came: what cameras wrote beside them is taken off in place."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.db import transaction

from accounts.language import gettext
from accounts.models import Company
from scheduling.models import ReadingPhoto, ServicePhoto
from scheduling.services.work.photos import cleaned_file


@dataclass(frozen=True, slots=True)
class StoredPicture:
    """A stored picture after it was read: whether something was taken off, or why it could not be."""

    picture: str
    is_changed: bool
    trouble: str = ""


def clean_stored_pictures(*, company: Company) -> Iterator[StoredPicture]:
    """Take off every stored picture of a company what a camera wrote beside it: place, time, device.

    One picture after another, each in a transaction of its own, so that a run that is stopped loses nothing and the
    next one goes on: a picture with nothing to take off is left as it is.
    """
    for model in (ServicePhoto, ReadingPhoto):
        for key in list(model.objects.of_company(company).order_by("pk").values_list("pk", flat=True)):
            picture = _clean(model, key)
            if picture is not None:
                yield picture


@transaction.atomic
def _clean(model: type[ServicePhoto] | type[ReadingPhoto], key: int) -> StoredPicture | None:
    """Clean one picture; None where it was deleted meanwhile."""
    # Whoever erases a client deletes the row first and its file afterwards, and so waits here.
    photo = model.objects.select_for_update(no_key=True).filter(pk=key).first()
    if photo is None:
        return None
    name = f"{photo} ({photo.file.name})"
    try:
        with photo.file.open("rb") as file:
            sent = file.read()
        kept = cleaned_file(sent, photo.media_type)
        if kept != sent:
            _replace(Path(photo.file.path), kept)
    except FileNotFoundError:
        return StoredPicture(name, is_changed=False, trouble=gettext("the file is missing"))
    except OSError as error:
        trouble = gettext("the file cannot be read or written ({reason})").format(reason=error.strerror)
        return StoredPicture(name, is_changed=False, trouble=trouble)
    except ValueError as error:
        return StoredPicture(name, is_changed=False, trouble=str(error))
    # Also where an earlier run was stopped between the file and the row.
    if photo.size != len(kept):
        photo.size = len(kept)
        photo.save(update_fields=["size"])
    return StoredPicture(name, is_changed=kept != sent)


def _replace(path: Path, content: bytes) -> None:
    """Put a file in the place of another at once: whoever reads meets the one or the other, never half of one."""
    # Always the same name, so that what a stopped run left is written over by the next.
    beside = path.with_name(f"{path.name}.cleaned")
    with beside.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    beside.chmod(path.stat().st_mode & 0o777)
    beside.replace(path)
