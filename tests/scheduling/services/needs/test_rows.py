"""What a need says of its dates and costs is the same read as columns and as a row of the table."""

from datetime import timedelta

from scheduling.models import Need
from scheduling.services.needs.facts import quantile_days
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.needs.rows import read_needs
from scheduling.services.needs.waiting import cost_of_a_week
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town


def test_columns_say_what_the_row_says(town: Town) -> None:
    for first in (0, 45):
        unit = town.unit(train=RO_DI_TRAIN)
        for number, position in enumerate(unit.positions.all()):
            town.forecast(position, first + 20 * number)
    refresh_needs(company=town.company, now=NOW)
    rows = list(Need.objects.select_related("forecast").order_by("pk"))
    # as of a need that may not be met before a day, or on no day at all, and of one without a curve
    rows[0].cost_curve[:9] = [None] * 9
    rows[1].cost_curve = [None] * 4
    rows[2].cost_curve, rows[2].curve_first_day = [], None
    Need.objects.bulk_update(rows[:3], ["cost_curve", "curve_first_day"])
    columns = list(read_needs(Need.objects.all(), with_forecasts=True))
    assert len(columns) == len(rows) > 6
    for row, read in zip(rows, columns, strict=True):
        assert read.pk == row.pk
        assert read.quantile_days(TODAY) == (quantile_days(row.forecast, TODAY) if row.forecast else ())
        for day in (-3, 0, 2, 8, 40, 400):
            at = TODAY + timedelta(days=day)
            assert cost_of_a_week(read, day=at) == cost_of_a_week(row, day=at)
    assert any(cost_of_a_week(read, day=TODAY + timedelta(days=40)) for read in columns)
    assert any(read.quantile_days(TODAY) for read in columns)
    assert all(read.quantile_days(TODAY) == () for read in read_needs(Need.objects.all()))
