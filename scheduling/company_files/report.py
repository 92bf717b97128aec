"""What bringing in did, for people: counts by sheet, then every row of which something is to be told."""

from collections.abc import Iterator
from typing import Final

from scheduling.company_files.outcome import BroughtIn, Outcome, PageResult

MOST_ROWS_SHOWN: Final = 40
"""So many rows of a page are told one by one; the whole is in the answer of the interface."""

_WORDS: Final = {
    Outcome.MADE: ("would be made", "made"),
    Outcome.CHANGED: ("would be changed", "changed"),
    Outcome.LEFT: ("left as it is", "left as it is"),
    Outcome.REFUSED: ("would be refused", "refused"),
}


def report_lines(result: BroughtIn, *, most: int = MOST_ROWS_SHOWN) -> Iterator[str]:
    """The lines of the report."""
    for name, trouble in result.troubles.items():
        yield f"{name}: not read. {trouble}"
    for page in result.pages:
        yield from _of_page(page, result.is_trial, most)
    made, changed, refused = (result.count(each) for each in (Outcome.MADE, Outcome.CHANGED, Outcome.REFUSED))
    yield ""
    if result.is_trial:
        yield f"A trial: nothing is stored. {made} rows would be made, {changed} changed, {refused} refused."
    else:
        yield f"Stored: {made} rows made, {changed} changed; {refused} refused."


def _of_page(page: PageResult, is_trial: bool, most: int) -> Iterator[str]:
    words = {outcome: pair[0] if is_trial else pair[1] for outcome, pair in _WORDS.items()}
    counts = ", ".join(f"{page.count(outcome)} {words[outcome]}" for outcome in Outcome if page.count(outcome))
    what = f" as {page.sheet.replace('_', ' ')}" if page.sheet else ""
    yield f"{page.origin}{what}: {counts or 'no rows'}"
    for remark in page.remarks:
        yield f"    {remark}"
    with_remarks = [row for row in page.rows if row.remarks or row.changes]
    for row in with_remarks[:most]:
        name = f" ({row.name[:40]})" if row.name else ""
        changes = [f"{each.field} from '{each.old[:60]}' to '{each.new[:60]}'." for each in row.changes]
        yield f"    line {row.line}{name}, {words[row.outcome]}: {' '.join([*changes, *row.remarks])}"
    if len(with_remarks) > most:
        yield f"    and {len(with_remarks) - most} rows more"
