"""What the invented company asks its clients for: prices, rates of tax, a contract and a warranty."""

from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction

from accounts.models import Company
from fleet.demo.scenario import Scenario
from fleet.models import CatalogueItem, Site, Unit
from scheduling.models import SalesPrice, ServiceContract, Vat, VatRate, Warranty
from scheduling.planning.money.amounts import rounded


@transaction.atomic
def load_prices(*, company: Company, scenario: Scenario, as_of: date) -> None:
    """Load the price list, by a factor on what items cost the company, and what is free for whom."""
    sales = scenario.company["sales"]
    valid_from = date.fromisoformat(sales["valid_from"])
    VatRate.objects.bulk_create(
        VatRate(company=company, vat=vat, percent=Decimal(percent), valid_from=valid_from)
        for vat, percent in sales["rates"].items()
    )
    factor = Decimal(sales["item_factor"])
    SalesPrice.objects.bulk_create(
        [
            *(
                SalesPrice(company=company, kind=kind, price=Decimal(sales[kind]), valid_from=valid_from)
                for kind in (SalesPrice.Kind.CALL_OUT, SalesPrice.Kind.HOUR)
            ),
            *(
                SalesPrice(
                    company=company,
                    item=item,
                    price=rounded(item.price * factor),
                    vat=Vat.REDUCED if item.kind in sales["reduced_kinds"] else Vat.STANDARD,
                    valid_from=valid_from,
                )
                for item in CatalogueItem.objects.of_company(company)
            ),
        ]
    )
    for row in sales["contracts"]:
        site = Site.objects.of_company(company).get(code=row["site"])
        ServiceContract.objects.create(
            company=company,
            client_id=site.client_id,
            name=row["name"],
            price=Decimal(row["price"]),
            per=row["per"],
            starts_on=date(as_of.year - 1, 1, 1),
            **{f"covers_{what}": what in row["covers"] for what in ("parts", "labour", "travel")},
        )
    for row in sales["warranties"]:
        Warranty.objects.create(
            company=company,
            unit=Unit.objects.of_company(company).get(code=row["unit"]),
            item=CatalogueItem.objects.of_company(company).get(code=row["item"]),
            starts_on=as_of - timedelta(days=row["days"]),
            ends_on=as_of + timedelta(days=row["days"]),
        )
