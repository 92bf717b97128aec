"""For whom a command acts that nobody is signed in for."""

from accounts.errors import InvalidInput
from accounts.models import Company, Membership
from accounts.wall import over_all_companies


@over_all_companies()
def first_owner(company_name: str | None) -> Membership:
    """The first owner of a company; of the only one when no name is given.

    Raises
    ------
    InvalidInput
        When there is no such company, or several to choose from.
    """
    companies = Company.objects.order_by("pk")
    if company_name:
        companies = companies.filter(name__iexact=company_name)
    named = list(companies[:20])
    if len(named) != 1:
        names = ", ".join(f"'{company.name}'" for company in Company.objects.order_by("pk")[:20])
        if not names:
            raise InvalidInput("no_company", "There is no company yet; found one with 'manage.py found_company'.")
        raise InvalidInput("which_company", f"Name the company with --company; there are: {names}.")
    members = Membership.objects.of_company(named[0]).select_related("company", "user").order_by("pk")
    owners = members.filter(role=Membership.Role.OWNER, is_active=True)
    owner = owners.first()
    if owner is None:
        raise InvalidInput("no_owner", f"'{named[0].name}' has no owner.")
    return owner
