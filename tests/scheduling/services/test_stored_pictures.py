"""Pictures kept before anything was left out of them are cleaned in place; Pillow writes them and reads them back."""

import io
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from PIL import Image

from accounts.models import Company
from scheduling.services.work import stored_pictures
from tests import factories

#: IFD of the place and its field for the latitude, Exif 2.3 (from memory).
GPS, LATITUDE, MAKE = 0x8825, 2, 0x010F
SECRET = b"Camera of somebody"


def jpeg_with_place() -> bytes:
    facts = Image.Exif()
    facts[MAKE] = SECRET.decode()
    facts.get_ifd(GPS)[LATITUDE] = (53.0, 33.0, 3.96)
    content = BytesIO()
    Image.effect_noise((60, 40), 50).convert("RGB").save(content, "JPEG", quality=85, exif=facts)
    sent = content.getvalue()
    with Image.open(BytesIO(sent)) as image:
        assert image.getexif().get_ifd(GPS)[LATITUDE] == (53.0, 33.0, 3.96)
    return sent


def pixels(content: bytes) -> bytes:
    with Image.open(BytesIO(content)) as image:
        return image.tobytes()


@pytest.fixture(autouse=True)
def _own_files(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = str(tmp_path / "files")


def stored(factory: Any, content: bytes, **given: Any) -> Any:
    """A picture as it was kept before: the file as it was sent."""
    photo = factory(media_type="image/jpeg", size=len(content), **given)
    photo.file.save("picture", ContentFile(content), save=True)
    return photo


def clean() -> str:
    out = io.StringIO()
    call_command("clean_pictures", stdout=out, stderr=io.StringIO())
    return out.getvalue()


@pytest.mark.django_db
def test_place_and_device_are_taken_off_pictures_of_reports_and_readings_once(company: Company) -> None:
    sent = jpeg_with_place()
    photos = [
        stored(factories.ServicePhotoFactory, sent, record__company=company),
        stored(factories.ReadingPhotoFactory, sent, reading__unit__company=company),
        stored(factories.ServicePhotoFactory, sent, record__company=factories.CompanyFactory()),
    ]
    names = [photo.file.name for photo in photos]
    assert clean() == "Looked at 3 pictures, cleaned 3.\n"
    for photo, name in zip(photos, names, strict=True):
        photo.refresh_from_db()
        kept = Path(photo.file.path).read_bytes()
        assert photo.file.name == name
        assert SECRET not in kept
        assert photo.size == len(kept)
        assert pixels(kept) == pixels(sent)
        with Image.open(BytesIO(kept)) as image:
            assert dict(image.getexif()) == {}
            assert dict(image.getexif().get_ifd(GPS)) == {}
        assert not list(Path(photo.file.path).parent.glob("*.cleaned"))
    written = [Path(photo.file.path).stat().st_mtime_ns for photo in photos]
    assert clean() == "Looked at 3 pictures, cleaned 0.\n"
    assert [Path(photo.file.path).stat().st_mtime_ns for photo in photos] == written


@pytest.mark.django_db
def test_a_run_that_was_stopped_is_gone_on_with(company: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = jpeg_with_place()
    photos = [stored(factories.ServicePhotoFactory, sent, record__company=company) for _ in range(3)]
    replace, done = stored_pictures._replace, []

    def stops_after_the_first(path: Path, content: bytes) -> None:
        replace(path, content)
        done.append(path)
        if len(done) == 2:
            raise KeyboardInterrupt  # the second has its file and not yet its row

    with monkeypatch.context() as patched:
        patched.setattr(stored_pictures, "_replace", stops_after_the_first)
        with pytest.raises(KeyboardInterrupt):
            clean()
    assert clean() == "Looked at 3 pictures, cleaned 1.\n"
    for photo in photos:
        photo.refresh_from_db()
        kept = Path(photo.file.path).read_bytes()
        assert SECRET not in kept
        assert photo.size == len(kept)


@pytest.mark.django_db
def test_what_cannot_be_cleaned_is_named_and_stays_and_the_others_are_cleaned(company: Company) -> None:
    missing = stored(factories.ServicePhotoFactory, jpeg_with_place(), record__company=company)
    Path(missing.file.path).unlink()
    cut = jpeg_with_place()[:700]
    damaged = stored(factories.ServicePhotoFactory, cut, record__company=company)
    good = stored(factories.ServicePhotoFactory, jpeg_with_place(), record__company=company)
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(CommandError, match="2 pictures could not be cleaned"):
        call_command("clean_pictures", stdout=out, stderr=err)
    assert out.getvalue() == "Looked at 3 pictures, cleaned 1.\n"
    told = err.getvalue()
    assert f"{missing.file.name}): the file is missing" in told
    assert damaged.file.name in told
    assert Path(damaged.file.path).read_bytes() == cut
    assert SECRET not in Path(good.file.path).read_bytes()
