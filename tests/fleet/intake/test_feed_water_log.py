"""A log file of feed water samples."""

from datetime import UTC, datetime

import pytest

from accounts.errors import InvalidInput
from accounts.models import Company
from fleet.intake.feed_water_log import read_log
from fleet.models import FeedWaterSample, IntakeBatch, Site
from tests import factories

pytestmark = pytest.mark.interface

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
HEAD = (
    "site,taken at,measured by,method,pH,hardness [dH],alkalinity [mg/L as CaCO3],"
    "free chlorine [ppm],total chlorine [ppm]\n"
)


@pytest.fixture
def water(company: Company) -> Company:
    factories.SiteFactory(company=company, code="SITE-7", time_zone="Europe/Berlin")
    return company


def load(company: Company, text: str) -> IntakeBatch:
    return read_log(company=company, by=None, name="water.csv", content=text.encode(), now=NOW)


def test_samples_are_stored_once_and_the_impossible_is_refused(water: Company) -> None:
    text = (
        HEAD + "SITE-7,2026-03-04 10:00,Ines,drop test,7.6,12,120,0.1,0.8\n"
        "SITE-9,2026-03-04 10:00,Ines,drop test,7.6,12,120,0.1,0.8\n"
        "SITE-7,2026-03-05 10:00,Ines,drop test,17.6,12,120,0.1,0.8\n"
        "SITE-7,2026-03-06 10:00,Ines,drop test,7.6,12,120,0.9,0.8\n"
    )
    batch = load(water, text)
    assert (batch.kind, batch.rows, batch.stored, batch.refused) == ("feed_water", 4, 1, 3)
    codes = [row.faults[0]["code"] for row in batch.refused_rows.all()]
    assert codes == ["unknown_site", "impossible_value", "free_chlorine_above_total"]
    sample = FeedWaterSample.objects.get()
    # 1 dH is 10 mg/L CaO, 17.848 mg/L as CaCO3 (molar masses 100.087 and 56.077).
    assert sample.hardness_mg_per_l_as_caco3 == pytest.approx(214.2, abs=0.1)
    assert (sample.measured_by, sample.method) == ("Ines", "drop test")
    assert load(water, text).stored == 0
    assert FeedWaterSample.objects.count() == 1


@pytest.mark.parametrize("unit", ["ppm", "mg/L", "degrees"])
def test_hardness_must_say_as_what(water: Company, unit: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        load(water, f"site,taken at,hardness [{unit}]\nSITE-7,2026-03-04 10:00,200\n")
    assert "as CaCO3" in refused.value.faults[0].sentence


def test_a_sample_names_the_supply_and_the_newest_one_stays_with_the_site(water: Company) -> None:
    head = "site,taken at,supply,TDS [ppm]\n"
    told = ("2026-03-04 10:00,Eastwick works,240", "2026-03-01 10:00,Old well,410", "2026-03-05 10:00,,242")
    load(water, head + "".join(f"SITE-7,{row}\n" for row in told))
    site = Site.objects.get(code="SITE-7")
    assert site.supply == "Eastwick works"
    # An older analysis that turns up later tells what was, not what is.
    load(water, head + "SITE-7,2026-02-01 10:00,Older well,500\n")
    site.refresh_from_db()
    assert site.supply == "Eastwick works"
    assert FeedWaterSample.objects.filter(supply="Older well").count() == 1
    refused = load(water, head + f"SITE-7,2026-03-06 10:00,{'x' * 81},240\n").refused_rows.get()
    assert refused.faults[0]["field"] == "supply"
