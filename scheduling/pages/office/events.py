"""Events out: the addresses to which the company's events are posted, and what became of each."""

from typing import Any

from django.http import HttpResponse

from accounts.language import gettext
from accounts.webhooks.api import WebhookDeliveryViewSet, WebhookEndpointViewSet
from accounts.webhooks.models import SUBSCRIBED, Event, WebhookDelivery
from scheduling.pages.office.base import OfficeForms, choice_words
from scheduling.pages.office.filled import named_row

_HERE = "/company/events/"


class EventsPage(OfficeForms):
    """Where events go, and the newest of them."""

    template_name = "scheduling/office/events.html"
    rights = {"get": ("webhook_endpoint", "list"), "post": ("webhook_endpoint", "create")}
    actions = {
        "register": ("webhook_endpoint", "create"),
        "switch": ("webhook_endpoint", "update"),
        "rotate": ("webhook_endpoint", "rotate_secret"),
        "test": ("webhook_endpoint", "test"),
        "delete": ("webhook_endpoint", "destroy"),
        "replay": ("webhook_delivery", "replay"),
    }

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        endpoints = self.rows(WebhookEndpointViewSet)
        for row in endpoints:
            row["called"] = row["name"] or row["url"]
            row["events_words"] = [choice_words(Event, event) for event in row["events"]]
            row["failing"] = self.local(row["failing_since"])
            row["off_since"] = self.local(row["switched_off_at"])
        called = {row["id"]: row["called"] for row in endpoints}
        deliveries = self.listed(WebhookDeliveryViewSet, page_size=50)
        for row in deliveries["rows"]:
            row["called"] = called.get(row["endpoint"], "")
            row["event_words"] = choice_words(Event, row["event"])
            row["state_words"] = choice_words(WebhookDelivery.State, row["state"])
            row["happened"] = self.local(row["happened_at"])
            row["next_try"] = self.local(row["next_attempt_at"])
        events = [(value, gettext(words)) for value, words in SUBSCRIBED]
        return self.show(
            status=status,
            endpoints=endpoints,
            deliveries=deliveries,
            events=events,
            wanted=self.request.POST.getlist("events"),
            **{"filled": {}, **context},
        )

    def do_register(self, form: Any) -> HttpResponse:
        """Register an address; its secret is shown on the page that answers, and never again."""
        body = {"name": form.get("name", "").strip(), "url": form.get("url", "").strip()}
        answer = self.ask(WebhookEndpointViewSet, "create", data={**body, "events": form.getlist("events")})
        return self.page(secret=answer.data["secret"]) if answer.is_good else self.refused(answer)

    def do_rotate(self, form: Any) -> HttpResponse:
        """Give an address a new secret, shown this once."""
        answer = self.ask(WebhookEndpointViewSet, "rotate_secret", pk=named_row(form, "endpoint"), data={})
        return self.page(secret=answer.data["secret"]) if answer.is_good else self.refused(answer)

    def do_switch(self, form: Any) -> HttpResponse:
        """Switch an address on or off."""
        data = {"is_on": form.get("is_on") == "true"}
        answer = self.ask(WebhookEndpointViewSet, "partial_update", pk=named_row(form, "endpoint"), data=data)
        return self.then(answer, _HERE, gettext("Kept."))

    def do_test(self, form: Any) -> HttpResponse:
        """Send a test event."""
        answer = self.ask(WebhookEndpointViewSet, "test", pk=named_row(form, "endpoint"), data={})
        return self.then(answer, _HERE, gettext("A test event is on its way; see below what came of it."))

    def do_delete(self, form: Any) -> HttpResponse:
        """Send nothing there any more, and forget what was sent."""
        answer = self.ask(WebhookEndpointViewSet, "destroy", pk=named_row(form, "endpoint"))
        return self.then(answer, _HERE, gettext("Nothing is sent there any more."))

    def do_replay(self, form: Any) -> HttpResponse:
        """Send an event again."""
        answer = self.ask(WebhookDeliveryViewSet, "replay", pk=named_row(form, "delivery"), data={})
        return self.then(answer, _HERE, gettext("It is sent again."))
