"""Feed water from public records: results in the WQX columns of the US Water Quality Portal, one row a result.

The portal exports the same results in two sets of column names, of version 2.2 and of version 3 of the format; both are
read. Rows of one sampling activity become one sample. A result of something that the house keeps no column for is
ignored and counted; one it should keep but cannot trust is refused with a reason.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from typing import Final

from django.db import transaction

from accounts.errors import Fault, InvalidInput
from accounts.models import Company, Membership
from fleet.intake.cells import CellError, number_digits
from fleet.intake.conversion import convert_rows
from fleet.intake.feed_water import take_rows
from fleet.intake.reading_rules import refuse_free_above_total
from fleet.intake.rows import Row, RowFault, Sent
from fleet.intake.storing import Progress, close_batch, open_batch
from fleet.intake.tables import TextTable, read_table
from fleet.models import FeedWaterSample, IntakeBatch, Site

# Column of version 2.2 -> column of version 3.
_NAMES: Final[Mapping[str, tuple[str, str]]] = {
    "what": ("CharacteristicName", "Result_Characteristic"),
    "value": ("ResultMeasureValue", "Result_Measure"),
    "unit": ("ResultMeasure/MeasureUnitCode", "Result_MeasureUnit"),
    "date": ("ActivityStartDate", "Activity_StartDate"),
    "time": ("ActivityStartTime/Time", "Activity_StartTime"),
    "zone": ("ActivityStartTime/TimeZoneCode", "Activity_StartTimeZone"),
    "activity": ("ActivityIdentifier", "Activity_ActivityIdentifier"),
    "station": ("MonitoringLocationIdentifier", "Location_Identifier"),
    "organisation": ("OrganizationFormalName", "Org_FormalName"),
    "medium": ("ActivityMediaName", "Activity_Media"),
    "fraction": ("ResultSampleFractionText", "Result_SampleFraction"),
    "condition": ("ResultDetectionConditionText", "Result_ResultDetectionCondition"),
    "status": ("ResultStatusIdentifier", "Result_MeasureStatusIdentifier"),
    "statistic": ("StatisticalBaseCode", "Result_StatisticalBase"),
}
_NEEDED: Final = ("what", "value", "unit", "date")

# Characteristic names as the portal spells them, without case -> stored column.
_CHARACTERISTICS: Final[Mapping[str, str]] = {
    "ph": "ph",
    "ph, lab": "ph",
    "alkalinity": "alkalinity_mg_per_l_as_caco3",
    "alkalinity, total": "alkalinity_mg_per_l_as_caco3",
    "total alkalinity": "alkalinity_mg_per_l_as_caco3",
    "hardness": "hardness_mg_per_l_as_caco3",
    "hardness, ca, mg": "hardness_mg_per_l_as_caco3",
    "total hardness": "hardness_mg_per_l_as_caco3",
    "free chlorine": "free_chlorine_mg_per_l",
    "free available chlorine": "free_chlorine_mg_per_l",
    "chlorine, free available": "free_chlorine_mg_per_l",
    "chlorine": "total_chlorine_mg_per_l",
    "total residual chlorine": "total_chlorine_mg_per_l",
    "chlorine, total residual": "total_chlorine_mg_per_l",
    "iron": "iron_mg_per_l",
    "manganese": "manganese_mg_per_l",
    "silica": "silica_mg_per_l",
    "silicon dioxide": "silica_mg_per_l",
    "turbidity": "turbidity_ntu",
    "specific conductance": "tds_mg_per_l",
    "specific conductivity": "tds_mg_per_l",
    "temperature, water": "temperature_degc",
}
# Known, and still not to be read as what the house stores.
_NOT_USABLE: Final[Mapping[str, str]] = {
    "total dissolved solids": "residue on evaporation is another scale than the TDS of a meter; give the specific "
    "conductance",
    "conductivity": "it is not brought to 25 degC; give the specific conductance",
}
_AS_CACO3: Final = ("alkalinity_mg_per_l_as_caco3", "hardness_mg_per_l_as_caco3")
_UNITS: Final[Mapping[str, str]] = {
    "mg/l": "mg/L",
    "mg/l caco3": "mg/L as CaCO3",
    "mg/l caco3**": "mg/L as CaCO3",
    "mg/l as caco3": "mg/L as CaCO3",
    "ug/l": "ug/L",
    "ppm": "ppm",
    "ppb": "ppb",
    "us/cm": "uS/cm",
    "us/cm @25c": "uS/cm",
    "umho/cm": "uS/cm",
    "umhos/cm": "uS/cm",
    "ms/cm": "mS/cm",
    "ms/m": "mS/m",
    "deg c": "degC",
    "degrees c": "degC",
    "deg f": "degF",
    "ntu": "NTU",
    "fnu": "FNU",
    "ntru": "NTU",
    "none": "",
    "std units": "",
    "standard units": "",
    "units": "",
}
_DIMENSIONLESS: Final = ("ph",)
# Abbreviations of the format's list of time zones -> hours from UTC.
_ZONES: Final[Mapping[str, float]] = {
    "UTC": 0, "GMT": 0, "AST": -4, "ADT": -3, "EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6,
    "PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "AHST": -10, "HST": -10, "SST": -11,
}  # fmt: skip
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_TIME: Final = re.compile(r"\d{2}:\d{2}(:\d{2})?")


@dataclass
class WqxIntake:
    """A batch, and what of the file was no matter of the house: characteristic -> how many results."""

    batch: IntakeBatch
    ignored: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Result:
    """One usable-looking result of the file: where it stands, how it came, and its value on a row of its own."""

    line: int
    cells: Mapping[str, str]
    characteristic: str
    column: str
    row: Row


@dataclass
class _Sample:
    """The results of one sampling activity on their way to one sample."""

    row: Row
    of: dict[str, _Result] = field(default_factory=dict)


def read_log(
    *,
    company: Company,
    by: Membership | None,
    site: Site,
    name: str,
    content: bytes,
    now: datetime,
    progress: Progress | None = None,
) -> WqxIntake:
    """Read results of public records as the feed water of a site.

    Parameters
    ----------
    company, by
        Whose site, and who sends the file.
    site
        Where this water comes out of the tap. That it does is for the sender to judge.
    name, content
        Name and bytes of the export, comma separated.
    now
        The clock: results later than this are refused.
    progress
        Called with the share done and what is being done.

    Returns
    -------
    WqxIntake
        The batch, whose refused rows say why, and what was ignored. The same file again stores nothing twice.

    Raises
    ------
    InvalidInput
        When the columns of the format are not there, or the file cannot be read.
    """
    table = read_table(content)
    places = _places(table)
    samples, refused, ignored = _gather(table, places, site)
    rows = [sample.row for sample in samples]
    with transaction.atomic():
        batch = open_batch(
            company=company, by=by, kind=IntakeBatch.Kind.FEED_WATER, name=name, content=content, now=now
        )
        outcome = take_rows(rows, company=company, by=by, now=now, batch=batch, progress=progress)
        close_batch(
            batch,
            rows=[*rows, *refused],
            stored=len(outcome.stored),
            flagged=outcome.flagged,
            duplicates=outcome.duplicates,
        )
    return WqxIntake(batch, dict(sorted(ignored.items())))


def _places(table: TextTable) -> dict[str, int]:
    headers = {header: index for index, header in reversed(list(enumerate(table.headers)))}
    index_of: dict[str, int] = {}
    for key, names in _NAMES.items():
        for column in names:
            if column in headers:
                index_of[key] = headers[column]
                break
    lacking = [" or ".join(_NAMES[key]) for key in _NEEDED if key not in index_of]
    if lacking:
        sentence = (
            f"The file lacks the column {lacking[0]}; send the export of results of the Water Quality Portal as CSV."
        )
        raise InvalidInput("not_wqx", sentence, faults=[Fault("/file", sentence)])
    return index_of


def _gather(table: TextTable, places: Mapping[str, int], site: Site) -> tuple[list[_Sample], list[Row], dict[str, int]]:
    """Bring the results of each activity together; one that cannot be used is refused alone, the others stay."""
    results, refused, ignored = _results(table, places)
    convert_rows([result.row for result in results], FeedWaterSample.QUANTITIES)
    samples: dict[tuple[str, ...], _Sample] = {}
    for result in results:
        if result.row.faults:
            refused.append(Row(result.line, _cells_by_column(result.cells), faults=result.row.faults))
            continue
        key = tuple(result.cells.get(part, "") for part in ("station", "activity", "date", "time", "zone"))
        sample = samples.setdefault(key, _Sample(_row(result.line, result.cells, site)))
        before = sample.of.setdefault(result.column, result)
        if before is result:
            continue
        if before.row.sent == result.row.sent:
            name = f"{result.characteristic} (repeated)"
            ignored[name] = ignored.get(name, 0) + 1
        else:
            sentence = (
                f"Line {before.line} gives {before.row.sent[result.column]} for the same activity; of two results the "
                "first is kept."
            )
            refused.append(_refused(result, "second_result", sentence))
    for sample in samples.values():
        refused += _contradicting_chlorine(sample)
        for column, result in sample.of.items():
            sample.row.sent[column] = result.row.sent[column]
            sample.row.labels[column] = result.characteristic
    return [sample for sample in samples.values() if sample.of], refused, ignored


def _results(table: TextTable, places: Mapping[str, int]) -> tuple[list[_Result], list[Row], dict[str, int]]:
    results: list[_Result] = []
    refused: list[Row] = []
    ignored: dict[str, int] = {}
    for line, cells in table.rows:
        cells_by_key = {key: cells[index] if index < len(cells) else "" for key, index in places.items()}
        characteristic = " ".join(cells_by_key["what"].split())
        column = _CHARACTERISTICS.get(characteristic.casefold())
        if column is None and characteristic.casefold() not in _NOT_USABLE:
            shown = characteristic[:80] or "(no characteristic)"
            ignored[shown] = ignored.get(shown, 0) + 1
            continue
        fault = _fault(cells_by_key, characteristic, column)
        if fault is not None or column is None:
            refused.append(Row(line, _cells_by_column(cells_by_key), faults=[fault] if fault else []))
            continue
        sent = Sent(number_digits(cells_by_key["value"]), _unit(cells_by_key["unit"], column))
        results.append(
            _Result(
                line,
                cells_by_key,
                characteristic,
                column,
                Row(line, {}, sent={column: sent}, labels={column: characteristic}),
            )
        )
    return results, refused, ignored


def _contradicting_chlorine(sample: _Sample) -> list[Row]:
    """Free chlorine above the total: one of the two is wrong and nobody can say which, so neither is kept."""
    pair = [sample.of.get(column) for column in ("free_chlorine_mg_per_l", "total_chlorine_mg_per_l")]
    if pair[0] is None or pair[1] is None:
        return []
    both = Row(pair[0].line, {}, sent={**pair[0].row.sent, **pair[1].row.sent})
    both.numbers = {**pair[0].row.numbers, **pair[1].row.numbers}
    refuse_free_above_total(both, pair[0].column, pair[1].column)
    if not both.faults:
        return []
    for result in pair:
        if result is not None:
            del sample.of[result.column]
    return [_refused(result, both.faults[0].code, both.faults[0].sentence) for result in pair if result is not None]


def _refused(result: _Result, code: str, sentence: str) -> Row:
    return Row(result.line, _cells_by_column(result.cells), faults=[RowFault(_NAMES["value"][0], code, sentence)])


def _row(line: int, result: Mapping[str, str], site: Site) -> Row:
    method = ", ".join(part for part in ("public record (WQX)", result.get("station", "")) if part)
    words = {
        "site": f"#{site.pk}",
        "taken_at": _moment(result),
        "method": method[:80],
        "measured_by": result.get("organisation", "")[:80],
    }
    return Row(line, _cells_by_column(result), words={name: text for name, text in words.items() if text})


def _cells_by_column(result: Mapping[str, str]) -> dict[str, str]:
    return {_NAMES[key][0]: text for key, text in result.items() if text}


def _moment(result: Mapping[str, str]) -> str:
    """Date and time with the offset of their zone; without a zone on the clock of the site, without a time the day."""
    time = result.get("time", "")
    if not time:
        return result["date"]
    zone = result.get("zone", "").upper()
    if zone not in _ZONES:
        return f"{result['date']} {time}"
    at = datetime.fromisoformat(f"{result['date']}T{time}").replace(tzinfo=timezone(timedelta(hours=_ZONES[zone])))
    return at.isoformat()


def _unit(sent: str, column: str) -> str:
    unit = _UNITS.get(" ".join(sent.split()).casefold(), sent)
    # The format's mg/l of an alkalinity or a hardness is as CaCO3 by the definition of the characteristic.
    return f"{unit} as CaCO3" if column in _AS_CACO3 and unit == "mg/L" else unit


def _fault(result: Mapping[str, str], characteristic: str, column: str | None) -> RowFault | None:
    """Why a result cannot be used, by the column it lies in."""
    if column is None:
        return RowFault(
            _NAMES["what"][0],
            "not_usable",
            f"{characteristic} cannot be used: {_NOT_USABLE[characteristic.casefold()]}.",
        )
    medium = result.get("medium", "")
    if medium and medium.casefold() != "water":
        return RowFault(_NAMES["medium"][0], "not_water", f"The sample is {medium[:40]}, not water.")
    if result.get("status", "").casefold() in ("rejected", "invalid"):
        return RowFault(_NAMES["status"][0], "rejected_there", "The source itself rejected this result.")
    if result.get("statistic", ""):
        sentence = f"It is a {result['statistic'][:40].lower()} of several, not one result."
        return RowFault(_NAMES["statistic"][0], "not_one_result", sentence)
    if not result["value"]:
        why = result.get("condition", "")
        sentence = f"There is no value ({why[:60]})." if why else "There is no value."
        return RowFault(_NAMES["value"][0], "no_value", f"{sentence} What was not detected is not known to be 0.")
    try:
        number_digits(result["value"])
    except CellError as error:
        return RowFault(_NAMES["value"][0], "not_a_number", str(error))
    return _fault_of_moment(result) or _fault_of_unit(result["unit"], column)


def _fault_of_moment(result: Mapping[str, str]) -> RowFault | None:
    date, time = result["date"], result.get("time", "")
    try:
        if not _DATE.fullmatch(date) or (time and not _TIME.fullmatch(time)):
            raise ValueError
        datetime.fromisoformat(f"{date}T{time or '12:00'}")
    except ValueError:
        sentence = f"'{date[:20]} {time[:20]}' is no date and time; the format writes 2024-05-31 and 14:05:00."
        return RowFault(_NAMES["date"][0], "unreadable_date", sentence)
    return None


def _fault_of_unit(sent: str, column: str) -> RowFault | None:
    if not sent and column not in _DIMENSIONLESS:
        return RowFault(_NAMES["unit"][0], "no_unit", "The result carries no unit, so it could be anything.")
    return None
