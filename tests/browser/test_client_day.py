"""A client's day on a phone: from the link of a letter to times that are declined."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.utils import timezone
from playwright.sync_api import Page, expect

from accounts.models import Client, Company, Membership
from accounts.services.letters import send_letters
from fleet.models import Reading
from scheduling.models import Visit
from tests.watched_unit import watched_unit

pytestmark = [pytest.mark.browser, pytest.mark.interface, pytest.mark.django_db(transaction=True)]


def test_a_client_reads_reports_and_declines(
    live_server: Any,
    settings: Any,
    company: Company,
    first_client: Client,
    client_member: Membership,
    office: Membership,
    open_page: Callable[..., Page],
    nothing_in_the_way: Callable[[Page], None],
) -> None:
    settings.PUBLIC_URL = live_server.url
    watched = watched_unit(company, first_client, office, timezone.now())
    page = open_page()

    page.goto("/my-water/")
    expect(page).to_have_url(re.compile(r"/sign-in/\?next="))
    nothing_in_the_way(page)
    page.get_by_role("link", name="Send me a link").click()
    page.get_by_label("E-mail address").fill(client_member.user.email)
    nothing_in_the_way(page)
    page.get_by_role("button", name="Send me a link").click()
    expect(page.get_by_role("status")).to_contain_text("a letter is on its way")

    assert send_letters(now=timezone.now()) == 1
    (link,) = re.findall(r"http://\S+/sign-in/link/\S+", mail.outbox[-1].body)
    page.goto(link)
    nothing_in_the_way(page)
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_url(re.compile(rf"/my-water/{watched.unit.pk}/$"))
    expect(page.get_by_text("Your water is good")).to_be_visible()
    picture = page.get_by_role("img", name="Readings over time")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") > 100
    nothing_in_the_way(page)

    # by keyboard alone: past the head of the page, to the first thing to do
    page.goto(f"/my-water/{watched.unit.pk}/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page itself")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Enter a reading")).to_be_focused()
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", name="Enter a reading")).to_be_visible()
    page.get_by_label("The TDS of the tap water", exact=True).fill("plenty")
    page.get_by_role("button", name="Send the reading").click()
    expect(page.get_by_role("alert")).to_be_visible()
    nothing_in_the_way(page)
    page.get_by_label("The TDS of the tap water", exact=True).fill("486")
    page.get_by_label("The TDS of the finished water", exact=True).fill("1")
    page.get_by_role("button", name="Send the reading").click()
    expect(page.get_by_role("status")).to_contain_text("Your reading is stored")
    assert Reading.objects.filter(unit=watched.unit, source="client").get().feed_tds_mg_per_l == 243.0

    page.get_by_role("link", name="Something is wrong").click()
    nothing_in_the_way(page)
    page.get_by_label("There is water on the floor").check()
    page.get_by_label("Tell us more").fill("a drop now and then, under the housings")
    page.get_by_role("button", name="Send the report").click()
    expect(page.get_by_role("status")).to_contain_text("We have your report")

    page.get_by_text("None of these times suits you?").click()
    page.get_by_label("Tell us what would suit you").fill("after six")
    page.get_by_role("button", name="Decline these times").click()
    expect(page.get_by_role("status")).to_contain_text("The times are declined")
    nothing_in_the_way(page)
    declined = Visit.objects.get(pk=watched.visit.pk)
    assert declined.offers == []
    assert declined.state not in (Visit.State.OFFERED, Visit.State.CONFIRMED)

    # on a phone the places and the way out fold into one button, which opens and closes by keyboard
    menu = page.get_by_role("button", name="Menu")
    menu.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Account")).to_be_visible()
    nothing_in_the_way(page)
    page.keyboard.press("Escape")
    expect(page.get_by_role("link", name="Account")).to_be_hidden()
    menu.click()
    page.get_by_role("link", name="Words").click()
    expect(page.get_by_role("heading", name="What the words mean")).to_be_visible()
    nothing_in_the_way(page)
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("link", name="Account").click()
    nothing_in_the_way(page)
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Sign out").click()
    expect(page).to_have_url(re.compile("/sign-in/$"))
    page.goto(f"/my-water/{watched.unit.pk}/")
    expect(page).to_have_url(re.compile(r"/sign-in/\?next="))
    assert Reading.objects.filter(taken_at__gt=timezone.now() - timedelta(hours=1)).count() == 2
