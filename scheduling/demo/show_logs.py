"""What was read from the logs, what was refused and why, what was kept but doubtful."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from accounts.language import gettext
from fleet.models import FeedWaterSample, IntakeBatch, Reading, RefusedRow
from scheduling.demo import words
from scheduling.demo.screen import Screen

_SHOWN_DOUBTS = 12


def show_logs(screen: Screen, batches: Sequence[IntakeBatch], folder: Path) -> None:
    """Print the counts of each log, every refused row with its sentences, and the doubts."""
    screen.heading(gettext(words.WHAT_WAS_READ))
    screen.line(words.logs_are_in(folder))
    _counts(screen, batches)
    _refused(screen, batches)
    _doubts(screen, batches)


def _counts(screen: Screen, batches: Sequence[IntakeBatch]) -> None:
    columns = tuple(map(gettext, words.LOG_COLUMNS))
    groups: dict[str, list[IntakeBatch]] = {}
    for batch in batches:
        name = batch.name
        groups.setdefault(gettext(words.CLIENTS_LOGS) if name.startswith("client-") else name, []).append(batch)
    rows = []
    for name, members in groups.items():
        label = words.several(len(members), name) if len(members) > 1 else name
        rows.append((label, *_sums(members)))
    rows.append((gettext(words.TOGETHER), *_sums(batches)))
    screen.table(columns, rows, numbers=columns[1:])
    if batches and not any(batch.stored for batch in batches):
        screen.line(gettext(words.NOTHING_TWICE), indent=2)


def _sums(batches: Sequence[IntakeBatch]) -> tuple[int, ...]:
    fields = ("rows", "stored", "duplicates", "refused", "flagged")
    return tuple(sum(getattr(batch, field) for batch in batches) for field in fields)


def _refused(screen: Screen, batches: Sequence[IntakeBatch]) -> None:
    rows = list(RefusedRow.objects.filter(batch__in=[batch.pk for batch in batches]).select_related("batch"))
    if not rows:
        return
    screen.subheading(words.refused_rows(len(rows)))
    for row in sorted(rows, key=lambda row: (row.batch.name, row.line)):
        # One sentence for each kind of fault: the same one for five columns says no more.
        of_kind = {fault.get("code", ""): fault for fault in reversed(row.faults)}
        sentences = " ".join(_fault(fault) for fault in of_kind.values())
        screen.line(words.refused_row(row.batch.name, row.line, sentences), indent=2)


def _fault(fault: dict[str, str]) -> str:
    field, sentence = fault.get("field", ""), fault.get("sentence", "")
    return f"{field}: {sentence}" if field and field not in sentence else sentence


def _doubts(screen: Screen, batches: Sequence[IntakeBatch]) -> None:
    rows: dict[str, set[tuple[str, int]]] = {}
    places: dict[str, Counter[str]] = {}
    example: dict[tuple[str, str], tuple[str, int, str]] = {}
    ids = [batch.pk for batch in batches]
    readings = Reading.objects.filter(batch__in=ids).exclude(flags=[]).order_by("batch__name", "line")
    samples = FeedWaterSample.objects.filter(batch__in=ids).exclude(flags=[]).order_by("batch__name", "line")
    for name, line, place, flags in [
        *readings.values_list("batch__name", "line", "unit__code", "flags"),
        *samples.values_list("batch__name", "line", "site__code", "flags"),
    ]:
        for flag in flags:
            code = flag["code"]
            rows.setdefault(code, set()).add((name, line))
            places.setdefault(code, Counter())[place] += 1
            example.setdefault((code, place), (name, line, flag["sentence"]))
    if not rows:
        return
    screen.subheading(gettext(words.DOUBTFUL))
    for code in sorted(rows, key=lambda code: -len(rows[code]))[:_SHOWN_DOUBTS]:
        place = places[code].most_common(1)[0][0]
        name, line, sentence = example[code, place]
        text = words.doubt(len(rows[code]), len(places[code]), name, line, place, sentence)
        screen.line(text, indent=2)
