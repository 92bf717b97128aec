"""Post-carbon, minerals and lamps in the sheets of a company: brought in, taken out and brought in the same again."""

from datetime import UTC, datetime

import pytest

from accounts.models import Membership
from fleet.models import CatalogueItem, Placement, Reading, Unit
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.take_out import take_out
from tests import factories

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
SHEETS = {
    "items.csv": (
        "item;description;type;price;rated volume [L];burning hours\n"
        "SED5;Sedimentfilter;sediment;4,20;12000;\n"
        "NF2;Nachfilter;nachfilter;12,50;5000;\n"
        "MIN2;Calcit;Mineralfilter;19,90;3000;\n"
        "UVL;UV-Lampe;UV lamp;48,00;;9000\n"
    ),
    "anlagen.csv": (
        "customer;address;lat;lon;use;type;commissioned;weekly use [L];train;post carbon;post carbon item;"
        "mineralfilter;remineralisation item;uv lamp;uv item\n"
        "Familie Aal;Ringgasse 12;53,56;10,01;drinking;RO;1.2.2024;105;"
        "sediment, carbon, membrane, post carbon, mineral, uv;2.3.2026;NF2;2.3.2026;MIN2;2.3.2026;UVL\n"
    ),
    "readings.csv": (
        "unit;date;feed tds [ppm];permeate tds [ppm];tds after calcite [ppm];ph after calcite;uv intensity [%];"
        "uv lamp out\n"
        "S01-1;20.9.2026 10:15;420;12;58;7,4;92;no\n"
    ),
}


@pytest.fixture
def owner() -> Membership:
    company = factories.CompanyFactory(time_zone="Europe/Berlin")
    member: Membership = factories.MembershipFactory(company=company, role="owner")
    return member


def test_a_company_brings_them_in_and_takes_them_out_the_same(owner: Membership) -> None:
    result = bring_in(by=owner, files={name: text.encode() for name, text in SHEETS.items()}, now=NOW, is_trial=False)
    refused = [row.remarks for page in result.pages for row in page.rows if row.outcome == Outcome.REFUSED]
    assert refused == []
    kinds = dict(CatalogueItem.objects.of_company(owner.company).values_list("code", "kind"))
    assert kinds == {"SED5": "sediment", "NF2": "post_carbon", "MIN2": "remineralisation", "UVL": "uv"}
    assert CatalogueItem.objects.get(code="UVL").rated_burning_hours == 9000.0
    unit = Unit.objects.of_company(owner.company).get()
    stages = list(unit.positions.order_by("order").values_list("stage", flat=True))
    assert stages == ["sediment", "carbon", "membrane", "post_carbon", "remineralisation", "uv"]
    stands = dict(Placement.objects.filter(position__unit=unit).values_list("position__stage", "item__code"))
    assert stands == {"post_carbon": "NF2", "remineralisation": "MIN2", "uv": "UVL"}
    reading = Reading.objects.get(unit=unit)
    assert (reading.remineralised_ph, reading.uv_intensity_fraction) == (7.4, pytest.approx(0.92))
    assert reading.remineralised_tds_mg_per_l == pytest.approx(58.0, rel=0.3)
    assert reading.observations == {"uv_alarm": False}
    taken = dict(take_out(company=owner.company, by=owner))
    other = factories.MembershipFactory(company=factories.CompanyFactory(time_zone="Europe/Berlin"), role="owner")
    again = bring_in(by=other, files={name: text.encode() for name, text in taken.items()}, now=NOW, is_trial=False)
    assert not [row.remarks for page in again.pages for row in page.rows if row.outcome == Outcome.REFUSED]
    assert dict(take_out(company=other.company, by=other)) == taken
