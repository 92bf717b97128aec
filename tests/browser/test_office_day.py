"""The office's day at a desk: from what cannot wait to a published, offered and mended week."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from playwright.sync_api import Page, expect

from accounts.models import Company, Membership
from scheduling.models import Plan, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.visits.visits import propose_visits
from tests import factories
from tests.browser.conftest import DESK
from tests.pages import signed_in
from tests.scheduling.town import NOW, Town

pytestmark = [pytest.mark.browser, pytest.mark.interface, pytest.mark.django_db(transaction=True)]

# Nine in the morning in Berlin: today's vans are on the road, and the plan begins tomorrow.
MORNING = NOW + timedelta(hours=4)
EVERY_PAGE = (
    "/attention/",
    "/week/",
    "/orders/",
    "/stock/",
    "/units/",
    "/clients/",
    "/sites/",
    "/bring-in/",
    "/company/",
    "/company/policy/",
    "/company/limits/",
    "/company/forecasts/",
    "/company/events/",
    "/company/trail/",
)


@pytest.fixture
def town(company: Company, settings: Any) -> Any:
    """The town at nine in the morning; its cookies last as long as the browser, whose clock is another one."""
    settings.SESSION_EXPIRE_AT_BROWSER_CLOSE, settings.CSRF_COOKIE_AGE = True, None
    company.time_zone = "Europe/Berlin"
    company.save()
    with time_machine.travel(MORNING, tick=True):
        made = Town(company)
        made.installer("Ada")
        made.installer("Ben", east_km=9.0)
        for k in range(4):
            client = made.client(name=f"Client {k}", email=f"c{k}@x.example")
            unit = made.unit(made.site(east_km=2.0 * (k + 1), client=client))
            made.forecast(made.position(unit, "carbon"), 0)
        refresh_needs(company=company, now=NOW)
        propose_visits(company=company, now=NOW)
        yield made


@pytest.fixture
def at_the_desk(open_page: Callable[..., Page], live_server: Any) -> Callable[[Membership], Page]:
    """Open a browser at a desk in which a member is signed in."""

    def open_for(member: Membership) -> Page:
        page = open_page(DESK)
        # the first plan of a process brings the solver in
        page.set_default_timeout(60_000)
        key = signed_in(member).cookies["sessionid"].value
        page.context.add_cookies([{"name": "sessionid", "value": key, "url": live_server.url}])
        return page

    return open_for


def test_from_what_cannot_wait_to_a_published_offered_and_mended_week(
    town: Town,
    office: Membership,
    at_the_desk: Callable[[Membership], Page],
    nothing_in_the_way: Callable[[Page], None],
) -> None:
    page = at_the_desk(office)
    page.goto("/attention/")
    expect(page.get_by_role("heading", level=1)).to_have_text("What needs attention")
    page.get_by_role("button", name="Plan the rounds").first.click()
    expect(page.get_by_text("This is a draft: nobody drives by it yet.")).to_be_visible()
    plan = Plan.objects.get()
    assert Stop.objects.filter(round__plan=plan).count() == 4
    # the map stands beside the rounds, without a picture of the land from anybody else
    expect(page.locator(".leaflet-container .place-stop").first).to_be_visible()
    assert page.locator(".leaflet-tile").count() == 0
    nothing_in_the_way(page)
    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})

    # by keyboard alone: look at a stop, see what moving it to the other installer costs, and move it
    stop = Stop.objects.filter(round__plan=plan).order_by("round__day", "order").first()
    assert stop is not None
    page.locator(f"#stop-{stop.pk} a").focus()
    page.keyboard.press("Enter")
    panel = page.locator("#stop")
    expect(panel.get_by_role("heading", level=2)).to_be_focused()
    nothing_in_the_way(page)
    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    other = "Ben" if stop.round.installer.name == "Ada" else "Ada"
    panel.get_by_label("Installer").focus()
    page.keyboard.type(other)
    panel.get_by_role("button", name="What would it cost?").focus()
    page.keyboard.press("Enter")
    expect(panel.get_by_text(re.compile(r"It would (cost|save) "))).to_be_visible()
    assert Stop.objects.get(pk=stop.pk).round_id == stop.round_id
    for box in panel.get_by_label("I know.").all():
        box.focus()
        page.keyboard.press("Space")
    panel.get_by_role("button", name="Move it", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("The stop is moved")
    assert Stop.objects.get(pk=stop.pk).round.installer.name == other

    page.get_by_role("button", name="Publish this plan").click()
    expect(page.get_by_role("status")).to_contain_text("published")
    page.get_by_role("button", name="Offer the times").click()
    expect(page.get_by_role("status")).to_contain_text("4 clients are offered a time.")
    assert Visit.objects.filter(state="offered").count() == 4

    page.get_by_text("Somebody is ill").click()
    day = Stop.objects.filter(round__plan=plan, round__installer__name=other).order_by("starts_at").first()
    assert day is not None
    page.get_by_label("Who").select_option(label=other)
    page.get_by_label("First day").fill(day.round.day.isoformat())
    page.get_by_label("Last day").fill(day.round.day.isoformat())
    page.get_by_role("button", name="Note it and repair the plan").click()
    expect(page.get_by_role("heading", name="What changes against the published plan")).to_be_visible()
    nothing_in_the_way(page)
    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    page.get_by_role("button", name="Publish this plan").click()
    expect(page.get_by_role("status")).to_contain_text("published")
    healed = Plan.objects.get(state="published")
    assert not Stop.objects.filter(round__plan=healed, round__day=day.round.day, round__installer__name=other).exists()


def test_a_stop_that_is_dragged_shows_its_cost_before_it_is_moved(
    town: Town, office: Membership, at_the_desk: Callable[[Membership], Page]
) -> None:
    page = at_the_desk(office)
    page.goto("/week/")
    page.get_by_role("button", name="Plan the coming days").click()
    expect(page.get_by_text("This is a draft: nobody drives by it yet.")).to_be_visible()
    stop = Stop.objects.order_by("round__day", "order").first()
    assert stop is not None
    other = "Ben" if stop.round.installer.name == "Ada" else "Ada"
    day = stop.round.day.isoformat()
    aim = page.locator(f"article.round[data-day='{day}']", has=page.get_by_role("heading", name=other, exact=True))
    page.locator(f"#stop-{stop.pk}").drag_to(aim)
    expect(page.locator("#move").get_by_text(re.compile(r"It would (cost|save) "))).to_be_visible()
    assert Stop.objects.get(pk=stop.pk).round_id == stop.round_id
    for box in page.locator("#move").get_by_label("I know.").all():
        box.check()
    page.locator("#move").get_by_role("button", name="Move it", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text("The stop is moved")
    assert Stop.objects.get(pk=stop.pk).round.installer.name == other


def test_nothing_is_in_the_way_on_any_page_of_the_desk(
    town: Town, owner: Membership, at_the_desk: Callable[[Membership], Page], nothing_in_the_way: Callable[[Page], None]
) -> None:
    unit = town.company.sites.first().units.first()
    order = _order(town)
    item = town.item("carbon")
    single = (f"/units/{unit.pk}/", f"/sites/{unit.site_id}/", f"/clients/{unit.site.client_id}/")
    page = at_the_desk(owner)
    for address in (*EVERY_PAGE, *single, f"/stock/{item.pk}/", f"/orders/{order}/"):
        page.goto(address)
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        nothing_in_the_way(page)


def _order(town: Town) -> int:
    line = factories.PurchaseOrderLineFactory(
        order=factories.PurchaseOrderFactory(company=town.company), item=town.item("carbon")
    )
    return int(line.order_id)
