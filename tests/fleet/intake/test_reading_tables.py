"""A table of readings taken as whole columns: stored, refused, flagged and known is what is so of the same rows taken
one by one, whatever stands in them."""

from datetime import UTC, date, datetime
from random import Random
from typing import Any, Final

import pytest
from django.db import transaction

from accounts.models import Membership
from fleet.intake import reading_tables
from fleet.intake.columns import read_columns
from fleet.intake.logs import TableOutcome
from fleet.intake.readings_log import LOG
from fleet.intake.tables import TextTable, read_table
from fleet.models import IntakeBatch, Reading, Unit
from fleet.services import consequences
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.database]

NOW: Final = datetime(2026, 3, 10, 12, tzinfo=UTC)

#: Header -> cells that are right, and cells of which something is to be said.
CELLS: Final[dict[str, tuple[list[str], list[str]]]] = {
    "unit": (["RX-7", "RX-8", "TK-1"], ["rx-7", "#{unit}", "nowhere", "", "RX-9", "RIVAL", "OLD"]),
    "taken at": (
        [f"2026-0{month}-{day:02} {hour:02}:15" for month in (1, 2) for day in range(1, 29) for hour in (7, 16)],
        ["", "2026-01-03", "03.01.2026 10:00", "2026-02-01T10:00:30+05:30", "2026-02-01T10:00Z", "2025-10-26 02:30",
         "2025-03-30 02:30", "2099-01-01 10:00", "2026-13-45 10:00", "1/2/2026 10:00", "2025-01-10 00:30",
         "2025-01-09 23:00", "1980-01-01 10:00", "2026-03-10", "2026-03-10 13:05", "2026-03-10 13:30",
         "2026-06-30 12:00", "9999-12-31 23:59", "0001-01-01 00:00"],
    ),
    "date": ([f"2026-01-{day:02}" for day in range(1, 29)], ["", "soon", "2026-03-10"]),
    "time": (["08:00", "09:30:15", ""], ["25:00", "noon"]),
    "reference": (["", "", ""], ["R1", "R2", "R3", "auto-1", "#5", "x" * 81]),
    "source": (["", "installer", "log file"], ["client", "somebody"]),
    "person": (["", "Ida", "O. 'Tab' \\ Back"], ["x" * 81]),
    "note": (["", "all well", "é 水 \\N \u2028"], ["x" * 4001]),
    "instrument": (["", "pen"], ["PEN", "pale pen", "old pen", "no such pen"]),
    "state": (["", "flowing", "running"], ["static", "asleep"]),
    "tank valve": (["", "open", "shut"], ["ajar"]),
    "pump": (["", "on"], ["maybe"]),
    "tank full": (["", "yes", "0"], ["perhaps"]),
    "after flush": (["", "no"], ["2"]),
    "occasion": (["", "routine", "as found"], ["birthday"]),
    "seen": (["", "slime", "leaks, noise"], ["a ghost"]),
    "no water": (["", "no"], ["yes", "who knows"]),
    "line pressure [psi]": (["60", "61.5", ""], ["6", "600", "-5", "1e999", "sixty", "4.2"]),
    "pressure after prefilters [bar]": (["4", "4.1", ""], ["9", "40", "0.4"]),
    "inlet pressure [psi]": (["58", "59", "60.0", ""], ["5.9", "590", "8.5", "99999", "6O", "58 psi", "1e2", "85"]),
    "temperature [degF]": (["60", "55", ""], ["31", "200", "99", "−4"]),
    "feed TDS [ppm]": (["240", "251", "249.5", ""], ["9", "24", "0", "60000", "1 000"]),
    "permeate conductivity [uS/cm]": (["18", "17.5", ""], ["480", "1800", "0", "1.5"]),
    "waste TDS [ppm]": (["300", "320", ""], ["100"]),
    "feed free chlorine [mg/L]": (["0.4", ""], ["0.9", "0"]),
    "feed total chlorine [mg/L]": (["0.8", ""], ["0.2"]),
    "permeate flow [gpd]": (["75", "74", ""], ["0", "750", "7.5"]),
    "totaliser [L]": (["", "1000"], ["900", "2000", "1e3", "-0"]),
    "minutes since start": (["", "10"], ["2", "1", "-1"]),
    "feed pH": (["7.4", ""], ["14.5", "11", "7,4"]),
}  # fmt: skip


@pytest.fixture
def unit(owner: Membership) -> Unit:
    company = owner.company
    site = factories.SiteFactory(company=company, time_zone="Europe/Berlin")
    unit = factories.UnitFactory(site=site, code="RX-7", commissioned_on=date(2025, 1, 10))
    factories.UnitFactory(site=site, code="RX-8", commissioned_on=date(2024, 1, 1), has_booster_pump=True)
    pacific = factories.SiteFactory(company=company, time_zone="Pacific/Auckland")
    factories.UnitFactory(site=pacific, code="TK-1", commissioned_on=date(2024, 1, 1))
    factories.UnitFactory(site=pacific, code="OLD", commissioned_on=date(2024, 1, 1), retired_on=date(2026, 1, 14))
    factories.UnitFactory(code="RIVAL")
    factories.InstrumentFactory(company=company, name="pen", unit=None, measures=["feed_tds"], tds_factor=0.7)
    factories.InstrumentFactory(company=company, name="pale pen", unit=unit, measures=["permeate_tds"], tds_factor=0.6)
    factories.InstrumentFactory(
        company=company, name="old pen", unit=None, measures=["feed_tds"], tds_factor=0.5, compensates_temperature=False
    )
    return unit


def table_of(random: Random, unit: Unit, rows: int, share_of_bad: float) -> TextTable:
    """A log of some of the columns, some of its rows more than once."""
    needed = ["unit", *(["taken at"] if random.random() < 0.7 else ["date", "time"])]
    others = [name for name in CELLS if name not in ("unit", "taken at", "date", "time")]
    headers = [*needed, *random.sample(others, random.randint(1, len(others)))]
    random.shuffle(headers)
    separator = random.choice([",", ";"])
    lines = [headers]
    for _ in range(rows):
        row = []
        for header in headers:
            right, wrong = CELLS[header]
            cell = random.choice(wrong if random.random() < share_of_bad else right).format(unit=unit.pk)
            row.append(cell.replace(".", ",") if separator == ";" and cell.replace(".", "").isdecimal() else cell)
        lines.append(row)
        if random.random() < 0.1:
            lines.append(random.choice(lines[1:]))
        if random.random() < share_of_bad / 5:
            lines.append([*row, random.choice(["", "more"])])
    for place, header in enumerate(headers):
        # Each wrong cell once in a row that is right else.
        for wrong in CELLS[header][1]:
            row = [random.choice(CELLS[other][0]) for other in headers]
            row[place] = wrong.format(unit=unit.pk)
            lines.append(row)
    text = "\n".join(separator.join(f'"{cell}"' if separator in cell else cell for cell in line) for line in lines)
    return read_table(text.encode())


def stored() -> list[dict[str, Any]]:
    names = [field.attname for field in Reading._meta.concrete_fields if field.attname not in ("id", "batch_id")]
    return list(Reading.objects.order_by("pk").values(*names))


def told(outcome: TableOutcome) -> list[Any]:
    refused = [(row.line, row.raw, row.faults) for row in outcome.refused]
    return [outcome.rows, outcome.stored, outcome.flagged, outcome.duplicates, refused]


def new_batch(by: Membership) -> IntakeBatch:
    return IntakeBatch.objects.create(company=by.company, kind=LOG.kind, digest="", received_at=NOW, received_by=by)


@pytest.mark.parametrize("seed", range(6))
def test_whole_columns_and_single_rows_tell_and_store_the_same(
    unit: Unit, owner: Membership, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    random = Random(seed)
    client = factories.MembershipFactory(company=owner.company, role="client", client=unit.site.client)
    by = random.choice([owner, owner, client])
    share = random.choice([0.0, 0.01, 0.05, 0.3])
    sent = table_of(random, unit, 30, share)
    again = table_of(random, unit, 30, share)
    if random.random() < 0.5:
        # The first part is known when the whole comes, some of it told otherwise.
        again = TextTable(sent.headers, sent.rows, sent.header_line, sent.decimal_comma)
        sent = sent.only(range(0, len(sent.rows), 2))
    announced: list[Any] = []
    monkeypatch.setattr(reading_tables, "announce", lambda *_, **what: announced.append(what))
    monkeypatch.setattr("fleet.intake.readings.announce", lambda *_, **what: announced.append(what))
    monkeypatch.setattr(consequences, "announce", lambda *_, **__: None)
    found = []
    for take in (LOG.take_row_by_row, LOG.take_table):
        announced.clear()
        outcomes = []
        with transaction.atomic():
            for table in (sent, again, again):
                batch = new_batch(by)
                columns = read_columns(table, LOG.vocabulary)
                outcomes.append(told(take(table, columns, company=owner.company, by=by, now=NOW, batch=batch)))
            found.append((outcomes, stored(), list(announced)))
            transaction.set_rollback(True)
    by_rows, by_columns = found
    assert by_columns[0] == by_rows[0]
    assert by_columns[1] == by_rows[1]
    assert by_columns[2] == by_rows[2]
    assert by_rows[1]
    assert by_rows[0][1][4]


def test_sound_rows_are_judged_as_columns_alone(unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch) -> None:
    one_by_one: list[int] = []
    judge = reading_tables.readings.judge
    monkeypatch.setattr(
        reading_tables.readings, "judge", lambda rows, *a, **k: one_by_one.append(len(rows)) or judge(rows, *a, **k)
    )
    lines = ["unit;date;time;inlet pressure [psi];feed TDS [ppm];state"]
    lines += [f"RX-7;2026-01-{day:02};{hour:02}:00;60,5;240;flowing" for day in range(1, 29) for hour in (6, 12, 18)]
    lines += ["RX-7;2026-02-01;06:00;6,05;240;flowing", "RX-7;2026-02-02;06:00;sixty;240;flowing"]
    table = read_table("\n".join(lines).encode())
    columns = read_columns(table, LOG.vocabulary)
    with transaction.atomic():
        outcome = LOG.take_table(table, columns, company=owner.company, by=owner, now=NOW, batch=new_batch(owner))
    assert (outcome.stored, outcome.flagged, len(outcome.refused)) == (85, 1, 1)
    assert sum(one_by_one) == 2
