"""`manage.py locate_sites`: which sites wait for coordinates, and where a geocoder finds their addresses."""

from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from accounts.models import Company
from accounts.wall import inside_company, over_all_companies
from fleet.services.units.geocoding import Geocoder, geocoder_set_up, locate_sites, unlocated_sites


class Command(BaseCommand):
    help = (
        "Lists the sites whose location is unknown. Where the setting GEOCODER names a geocoder, it is asked for "
        "their addresses and what it finds is stored; out of the box none is set up and nobody is asked."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            geocoder = geocoder_set_up()
        except ImproperlyConfigured as error:
            raise CommandError(str(error)) from None
        if geocoder is None:
            self.stdout.write("No geocoder is set up; give these sites latitude and longitude by hand or in a sheet.")
        waiting = 0
        with over_all_companies():
            companies = list(Company.objects.order_by("pk"))
        for company in companies:
            with inside_company(company.pk):
                waiting += self._locate(company, geocoder)
        self.stdout.write(f"{waiting} sites wait for their location." if waiting else "Every site is located.")

    def _locate(self, company: Company, geocoder: Geocoder | None) -> int:
        """Say of a company's sites where they are, and how many wait."""
        waiting = 0
        if geocoder is None:
            for site in unlocated_sites(company=company):
                waiting += 1
                self.stdout.write(f"{company}: {site}: {site.address or 'no address'}")
            return waiting
        for lookup in locate_sites(company=company, geocoder=geocoder, now=timezone.now()):
            place = f"{lookup.site.latitude}, {lookup.site.longitude}"
            waiting += bool(lookup.trouble)
            self.stdout.write(f"{company}: {lookup.site}: {lookup.trouble or f'located at {place}'}")
        return waiting
