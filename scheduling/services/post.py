"""Everything that is due to be told, written and sent in one go, for servers without a clock of their own."""

from datetime import datetime

from accounts.models import Company
from accounts.services.letters import send_letters
from accounts.wall import inside_company, over_all_companies
from accounts.webhooks.sending import send_deliveries
from scheduling.services.digests import write_digests
from scheduling.services.people.messages import remind, send_messages


def send_post(*, now: datetime) -> dict[str, int]:
    """Write the reminders and morning letters that are due, and send what waits; counts, as `send_messages` gives them.

    Letters about getting in, such as invitations, and events out go along and are counted beside them. A second run
    within the hour finds nothing to write.
    """
    remind(now=now)
    with over_all_companies():
        companies = list(Company.objects.order_by("pk"))
    for company in companies:
        with inside_company(company.pk):
            write_digests(company=company, now=now)
    sent = {**send_messages(now=now), "about_getting_in": send_letters(now=now)}
    return {**sent, "events_out": send_deliveries(now=now)["delivered"]}
