"""Where an address is: asked of a geocoder behind one interface; out of the box none is set up and nobody is asked."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils.module_loading import import_string

from accounts.errors import InvalidInput
from accounts.models import Company
from fleet.models import Site
from fleet.services import words
from fleet.services.units.sites import update_site


class GeocoderUnavailableError(Exception):
    """The geocoder gave no answer; in words that a person may read."""


class Geocoder(Protocol):
    """Anything that finds addresses; made without arguments."""

    def locate(self, address: str) -> tuple[float, float] | None:
        """Degrees north and east, WGS 84, of one address; None where it finds none, or several.

        Raises
        ------
        GeocoderUnavailableError
            When it cannot be asked now.
        """
        ...


@dataclass(frozen=True, slots=True)
class SiteLookup:
    """What became of one site of unknown location; `trouble` is empty where it has one now."""

    site: Site
    trouble: str = ""


def geocoder_set_up() -> Geocoder | None:
    """The geocoder of the setting GEOCODER; None where none is set up.

    Raises
    ------
    ImproperlyConfigured
        When the setting names no such class.
    """
    if not settings.GEOCODER:
        return None
    try:
        made: Geocoder = import_string(settings.GEOCODER)()
    except (ImportError, TypeError) as error:
        raise ImproperlyConfigured(f"GEOCODER is '{settings.GEOCODER}': it cannot be loaded: {error}.") from None
    return made


def unlocated_sites(*, company: Company) -> list[Site]:
    """Sites whose location is unknown, by code."""
    return list(Site.objects.of_company(company).filter(latitude__isnull=True).order_by("code", "pk"))


def locate_sites(*, company: Company, geocoder: Geocoder, now: datetime) -> Iterator[SiteLookup]:
    """Ask for the address of each site of unknown location and store what is found, site by site."""
    for site in unlocated_sites(company=company):
        if not site.address.strip():
            yield SiteLookup(site, words.no_address())
            continue
        try:
            place = geocoder.locate(site.address)
        except GeocoderUnavailableError as error:
            yield SiteLookup(site, words.geocoder_unavailable(str(error)))
            continue
        if place is None:
            yield SiteLookup(site, words.address_not_found())
            continue
        latitude, longitude = place
        if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
            yield SiteLookup(site, words.no_place_on_earth(latitude, longitude))
            continue
        try:
            yield SiteLookup(update_site(site=site, by=None, now=now, latitude=latitude, longitude=longitude))
        except InvalidInput as error:
            yield SiteLookup(site, error.sentence)
