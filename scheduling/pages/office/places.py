"""Where the office and the owner may go: what stands in the head of their pages."""

from accounts.language import gettext_noop
from accounts.pages.navigation import Place, add_place


def add_office_places() -> None:
    """Add the places of this package; called when the app is ready."""
    for place in (
        Place(30, "attention-page", gettext_noop("Attention"), ("attention", "retrieve")),
        Place(31, "week-page", gettext_noop("Week"), ("plan", "create")),
        Place(32, "orders-page", gettext_noop("Orders"), ("purchase_order", "list")),
        Place(33, "stock-page", gettext_noop("Stock"), ("stock_outlook", "list")),
        Place(34, "units-page", gettext_noop("Units"), ("unit", "update")),
        Place(35, "clients-page", gettext_noop("Clients"), ("client", "update")),
        Place(36, "sites-page", gettext_noop("Sites"), ("site", "update")),
        Place(37, "bring-in-page", gettext_noop("Bring in"), ("import", "create")),
        Place(38, "company-page", gettext_noop("Company"), ("member", "list")),
    ):
        add_place(place)
