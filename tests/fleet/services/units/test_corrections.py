"""What was entered wrongly of a cartridge is put right: the old row stays and counts for nothing."""

import ast
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import AuditEntry, Membership
from fleet.models import CatalogueItem, Placement, Position, Unit
from fleet.services.units.corrections import correct_placement, swap_placements, void_placement
from fleet.services.units.placements import place, remove, rotate_lead_lag
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
JANUARY = datetime(2026, 1, 5, 9, tzinfo=UTC)
FEBRUARY = datetime(2026, 2, 5, 9, tzinfo=UTC)
ROOT = Path(__file__).parents[4]
WHY = "Read from the wrong line."


@pytest.fixture
def unit(owner: Membership) -> Unit:
    return factories.UnitFactory(company=owner.company, commissioned_on=date(2026, 1, 1))


@pytest.fixture
def resin(owner: Membership) -> CatalogueItem:
    return factories.CatalogueItemFactory(company=owner.company, kind="resin", code="DI-1")


@pytest.fixture
def other_resin(owner: Membership) -> CatalogueItem:
    return factories.CatalogueItemFactory(company=owner.company, kind="resin", code="DI-2")


@pytest.fixture
def lead(unit: Unit) -> Position:
    return factories.PositionFactory(unit=unit, order=4, stage="resin", role="lead")


@pytest.fixture
def lag(unit: Unit) -> Position:
    return factories.PositionFactory(unit=unit, order=5, stage="resin", role="lag")


def history(position: Position) -> list[tuple[str, datetime, datetime | None, str]]:
    """What is in force at a position: item, from, to, why it left."""
    rows = Placement.objects.filter(position=position).order_by("placed_at").select_related("item")
    return [(row.item.code, row.placed_at, row.removed_at, row.removal) for row in rows]


def test_the_wrong_item_is_corrected_and_the_old_row_says_by_whom_when_why_and_what_it_was(
    lead: Position, resin: CatalogueItem, other_resin: CatalogueItem, owner: Membership
) -> None:
    wrong = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    right = correct_placement(placement=wrong, item=other_resin, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-2", JANUARY, None, "")]
    old = Placement.with_voided.get(pk=wrong.pk)
    assert (old.item, old.voided_at, old.voided_by, old.void_reason) == (resin, NOW, owner, WHY)
    assert (right.corrects_id, old.corrected_by) == (old.pk, right)
    entry = AuditEntry.objects.get(action="correct placement")
    assert entry.details["changed"] == {"item": ["DI-1", "DI-2"]}
    with pytest.raises(Conflict, match="taken back"):
        correct_placement(placement=wrong, item=other_resin, reason=WHY, by=owner, now=NOW)
    with pytest.raises(InvalidInput, match="All is so already"):
        correct_placement(placement=right, item=other_resin, reason=WHY, by=owner, now=NOW)


def test_the_cartridge_before_leaves_when_the_corrected_one_came_for_the_reason_it_had(
    lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    wrong = place(position=lead, item=resin, by=owner, now=NOW, placed_at=FEBRUARY, removal="exhausted")
    right_day = FEBRUARY - timedelta(days=10)
    correct_placement(placement=wrong, placed_at=right_day, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, right_day, "exhausted"), ("DI-1", right_day, None, "")]
    (_, second) = Placement.objects.filter(position=lead).order_by("placed_at")
    assert second.first_installed_at == right_day
    with pytest.raises(InvalidInput, match="two would stand in one position"):
        correct_placement(placement=second, placed_at=JANUARY - timedelta(days=2), reason=WHY, by=owner, now=NOW)
    assert history(lead)[1][1] == right_day


def test_a_placement_that_never_was_lets_the_one_before_stand_on(
    lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    first = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    never = place(position=lead, item=resin, by=owner, now=NOW, placed_at=FEBRUARY, removal="exhausted")
    void_placement(placement=never, reason="Written to the wrong unit.", by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, None, "")]
    first.refresh_from_db()
    assert first.removal == ""
    with pytest.raises(InvalidInput, match="reason"):
        void_placement(placement=first, reason=" ", by=owner, now=NOW)
    assert Placement.with_voided.filter(position=lead).count() == 2


def test_one_in_the_wrong_position_moves_and_leaves_the_old_position_as_it_was(
    lead: Position, lag: Position, resin: CatalogueItem, other_resin: CatalogueItem, owner: Membership
) -> None:
    for position in (lead, lag):
        place(position=position, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    wrong = place(position=lead, item=other_resin, by=owner, now=NOW, placed_at=FEBRUARY, removal="damaged")
    correct_placement(placement=wrong, position=lag, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, None, "")]
    assert history(lag) == [("DI-1", JANUARY, FEBRUARY, "damaged"), ("DI-2", FEBRUARY, None, "")]


def test_a_lead_and_a_lag_that_were_mistaken_are_swapped(
    lead: Position, lag: Position, resin: CatalogueItem, other_resin: CatalogueItem, owner: Membership
) -> None:
    for position in (lead, lag):
        place(position=position, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    one = place(position=lead, item=resin, by=owner, now=NOW, placed_at=FEBRUARY, removal="exhausted")
    two = place(position=lag, item=other_resin, by=owner, now=NOW, placed_at=FEBRUARY, removal="early")
    with pytest.raises(InvalidInput, match="two would stand in one position"):
        correct_placement(placement=one, position=lag, reason=WHY, by=owner, now=NOW)
    swap_placements(placement=one, other=two, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, FEBRUARY, "exhausted"), ("DI-2", FEBRUARY, None, "")]
    assert history(lag) == [("DI-1", JANUARY, FEBRUARY, "early"), ("DI-1", FEBRUARY, None, "")]


def test_an_end_is_corrected_where_nothing_came_at_that_moment(
    lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    first = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    first = remove(placement=first, removal="routine", by=owner, now=NOW, removed_at=FEBRUARY)
    earlier = FEBRUARY - timedelta(days=3)
    first = correct_placement(placement=first, removed_at=earlier, removal="early", reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, earlier, "early")]
    first = correct_placement(placement=first, removed_at=None, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, None, "")]
    with pytest.raises(InvalidInput, match="removal"):
        correct_placement(placement=first, removed_at=FEBRUARY, reason=WHY, by=owner, now=NOW)
    place(position=lead, item=resin, by=owner, now=NOW, placed_at=FEBRUARY, removal="early")
    first = Placement.objects.get(position=lead, placed_at=JANUARY)
    with pytest.raises(Conflict, match="correct placed_at of that one"):
        correct_placement(placement=first, removed_at=earlier, reason=WHY, by=owner, now=NOW)


def rotated(lead: Position, lag: Position, resin: CatalogueItem, by: Membership) -> Any:
    place(position=lead, item=resin, by=by, now=NOW, placed_at=JANUARY)
    place(position=lag, item=resin, by=by, now=NOW, placed_at=JANUARY + timedelta(days=1))
    return rotate_lead_lag(
        unit=lead.unit, stage="resin", item=resin, by=by, now=NOW, rotated_at=FEBRUARY, removal="exhausted"
    )


def test_a_rotation_moves_as_one_and_is_taken_back_as_one(
    lead: Position, lag: Position, resin: CatalogueItem, owner: Membership
) -> None:
    before = JANUARY + timedelta(days=1)
    rotation = rotated(lead, lag, resin, owner)
    moment = FEBRUARY + timedelta(days=4)
    fresh = correct_placement(placement=rotation.fresh, placed_at=moment, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, moment, "exhausted"), ("DI-1", moment, None, "")]
    assert history(lag) == [("DI-1", before, moment, "rotated"), ("DI-1", moment, None, "")]
    moved = Placement.objects.get(position=lead, removed_at=None)
    assert moved.first_installed_at == before
    assert moved.continues == Placement.objects.get(position=lag, placed_at=before)
    with pytest.raises(Conflict, match="rotation"):
        void_placement(placement=moved.continues, reason=WHY, by=owner, now=NOW)
    void_placement(placement=fresh, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, None, "")]
    assert history(lag) == [("DI-1", before, None, "")]


def test_a_cartridge_that_was_moved_is_one_cartridge_at_every_place(
    lead: Position, lag: Position, resin: CatalogueItem, other_resin: CatalogueItem, owner: Membership
) -> None:
    rotation = rotated(lead, lag, resin, owner)
    moved = correct_placement(placement=rotation.moved, item=other_resin, reason=WHY, by=owner, now=NOW)
    assert moved.continues is not None
    assert moved.continues.item == other_resin
    assert [item for item, *_ in history(lag)] == ["DI-2", "DI-1"]
    day = JANUARY + timedelta(days=5)
    correct_placement(placement=moved.continues, placed_at=day, reason=WHY, by=owner, now=NOW)
    moved.refresh_from_db()
    assert moved.first_installed_at == day
    assert history(lag)[0] == ("DI-2", day, FEBRUARY, "rotated")


def test_installers_put_right_for_a_week_what_they_entered_and_nobody_elses(
    lead: Position, resin: CatalogueItem, owner: Membership, installer: Membership, office: Membership
) -> None:
    own = place(position=lead, item=resin, by=installer, now=NOW, placed_at=JANUARY)
    with pytest.raises(NotAllowed, match="7 days"):
        void_placement(placement=own, reason=WHY, by=installer, now=NOW + timedelta(days=7, minutes=1))
    void_placement(placement=own, reason=WHY, by=installer, now=NOW + timedelta(days=7))
    foreign = place(position=lead, item=resin, by=office, now=NOW, placed_at=JANUARY)
    with pytest.raises(NotAllowed, match="Another person"):
        void_placement(placement=foreign, reason=WHY, by=installer, now=NOW)
    void_placement(placement=foreign, reason=WHY, by=office, now=NOW + timedelta(days=90))


@pytest.mark.parametrize(
    ("moment", "why"),
    [
        (datetime(1901, 1, 5, tzinfo=UTC), "look at the year"),
        (datetime(2025, 12, 30, tzinfo=UTC), "before .* was commissioned"),
        (NOW + timedelta(minutes=1), "future"),
    ],
)
def test_a_moment_that_cannot_be_is_refused_in_a_sentence(
    moment: datetime, why: str, lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    with pytest.raises(InvalidInput, match=why):
        place(position=lead, item=resin, by=owner, now=NOW, placed_at=moment)
    row = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    with pytest.raises(InvalidInput, match=why):
        correct_placement(placement=row, placed_at=moment, reason=WHY, by=owner, now=NOW)
    assert history(lead) == [("DI-1", JANUARY, None, "")]


def test_no_two_cartridges_at_one_position_at_one_minute(
    lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    with pytest.raises(InvalidInput, match="not after the cartridge there was placed"):
        place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY, removal="damaged")
    assert len(history(lead)) == 1


def test_lists_leave_out_what_was_taken_back_and_clients_never_see_it(
    unit: Unit, owner: Membership, as_office: APIClient, as_client: APIClient, client_member: Membership
) -> None:
    unit.site.client = client_member.client
    unit.site.save()
    position = factories.PositionFactory(unit=unit, stage="sediment")
    row = factories.PlacementFactory(position=position, placed_at=JANUARY)
    assert as_client.post(f"/api/v1/placements/{row.pk}/void/", {"reason": WHY}).status_code == 403
    answer = as_office.post(f"/api/v1/placements/{row.pk}/correct/", {"serial_or_lot": "L7", "reason": WHY})
    assert answer.status_code == 200, answer.content
    fresh = answer.json()
    assert (fresh["corrects"], fresh["serial_or_lot"]) == (row.pk, "L7")

    def ids(api: APIClient, query: str = "") -> list[int]:
        return [each["id"] for each in api.get(f"/api/v1/placements/{query}").json()["results"]]

    assert ids(as_office) == ids(as_client) == ids(as_office, "?voided=false") == [fresh["id"]]
    assert ids(as_office, "?voided=true") == [row.pk]
    assert as_client.get("/api/v1/placements/?voided=true").status_code == 400
    assert as_office.get(f"/api/v1/placements/{row.pk}/").json()["corrected_by"] == fresh["id"]
    assert as_office.get(f"/api/v1/placements/{row.pk}/").json()["void_reason"] == WHY
    assert as_client.get(f"/api/v1/placements/{row.pk}/").status_code == 404
    removed = as_office.post(f"/api/v1/placements/{row.pk}/remove/", {"removal": "damaged"})
    assert (removed.status_code, removed.json()["code"]) == (409, "already_voided")
    again = as_office.post(f"/api/v1/placements/{row.pk}/void/", {"reason": WHY})
    assert (again.status_code, again.json()["code"]) == (409, "already_voided")


# Who reads placements otherwise than through what is in force, and why.
WITH_VOIDED = {
    "fleet/models/placements.py": "where it is made",
    "fleet/api/placements.py": "shows what was taken back to whoever asks",
    "fleet/services/units/corrections.py": "answers that something was taken back already",
    "scheduling/services/needs/facts.py": "speaks of a forecast's cartridge until there is a newer forecast",
    "fleet/services/units/units.py": "a position stays as long as a row names it",
}


OTHER_MANAGERS = ("Placement.with_voided", "Placement._base_manager", "Placement._default_manager")


def test_no_calculation_reads_placements_that_were_taken_back() -> None:
    """`Placement.objects` leaves them out; a join or another manager would not."""
    modules: set[str] = set()
    joins: list[str] = []
    for room in ("accounts", "fleet", "scheduling"):
        for path in (ROOT / room).rglob("*.py"):
            name = path.relative_to(ROOT).as_posix()
            if "/migrations/" in name:
                continue
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.Attribute) and ast.unparse(node) in OTHER_MANAGERS:
                    modules.add(name)
                if isinstance(node, ast.keyword) and node.arg and "placements__" in node.arg:
                    joins.append(f"{name}: {node.arg}")
    modules.add("fleet/models/placements.py")
    assert modules == set(WITH_VOIDED)
    assert joins == []
    assert Placement._default_manager is Placement.objects
