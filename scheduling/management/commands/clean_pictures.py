"""`manage.py clean_pictures`: stored pictures lose what cameras wrote beside them."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from accounts.models import Company
from accounts.wall import inside_company, over_all_companies
from scheduling.services.work.stored_pictures import clean_stored_pictures


class Command(BaseCommand):
    """Once, on a server that kept pictures before new ones were cleaned as they came; again, it changes nothing."""

    help = (
        "Takes place, time and device off the pictures that are stored already, one by one; the pictures themselves "
        "stay as they are. It can be stopped and run again. Backups made before keep what they have."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        with over_all_companies():
            companies = list(Company.objects.order_by("pk"))
        seen, changed, troubles = 0, 0, 0
        for company in companies:
            with inside_company(company.pk):
                for picture in clean_stored_pictures(company=company):
                    seen += 1
                    changed += picture.is_changed
                    if picture.trouble:
                        troubles += 1
                        self.stderr.write(f"{company}: {picture.picture}: {picture.trouble}")
        self.stdout.write(f"Looked at {seen} pictures, cleaned {changed}.")
        if troubles:
            raise CommandError(f"{troubles} pictures could not be cleaned and stay as they were; see above.")
