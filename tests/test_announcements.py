"""Whoever stores something on which indicators, forecasts, findings, needs or visits rest announces it.

`SERVICES` and `ROUTES` say of every write of fleet and scheduling that it does, or why nothing follows. Whether what
follows is right stands in `test_consequences.py`.
"""

import inspect
from collections.abc import Iterator
from types import CodeType, ModuleType

import pytest

from accounts.http.retiring import RetireMixin
from accounts.http.viewsets import CreateMixin, DestroyMixin, UpdateMixin
from fleet.services.consequences import announce
from tests.routes import Route, every_route
from tests.services import Service, services_of

ROOMS = ("fleet.services", "fleet.intake", "scheduling.services")

ANNOUNCES = "announces"
STORES_NOTHING = "it stores nothing"
A_JOB = "it starts a job; what the job makes is itself what follows"
STOCK = "parts lists and orders rest on it, which are made at night and when somebody asks for them"
ROUNDS = "rounds rest on it, which are planned at night and when somebody asks for them"
PEOPLE = "it tells people of something that is stored already"
STAYS_AS_CONFIRMED = "what was confirmed with the client stays so; the night looks for what could be added to it"
UNUSED = "nothing stands anywhere yet that could rest on it"
WHOSE = "it says who reads what happened; what happened stays"
BOOKS = "only invoices rest on it, which are proposed anew whenever somebody asks"
PAPERS = "it keeps what was done, or where a file came from"

SERVICES = {
    "fleet.services.catalogue.update_item": ANNOUNCES,
    "fleet.services.findings.decisions.decide": ANNOUNCES,
    "fleet.services.findings.diagnosis.what_if": STORES_NOTHING,
    "fleet.services.findings.gone.seen_gone": "what mends it announces the work, by which findings close",
    "fleet.services.forecasts.forecasts.start_forecast_job": A_JOB,
    "fleet.services.forecasts.quality.start_quality_job": "it judges forecasts of the past",
    "fleet.services.instruments.create_instrument": ANNOUNCES,
    "fleet.services.instruments.delete_instrument": ANNOUNCES,
    "fleet.services.instruments.update_instrument": ANNOUNCES,
    "fleet.services.putting_right.refuse_stranger": STORES_NOTHING,
    "fleet.services.putting_right.void": "the caller stores the row",
    "fleet.services.readings.taken_back.take_back_readings": ANNOUNCES,
    "fleet.services.readings.taken_back.void_reading": ANNOUNCES,
    "fleet.services.readings.taken_back.void_sample": ANNOUNCES,
    "fleet.services.sizing.sizing.check_commissioning": STORES_NOTHING,
    "fleet.services.sizing.sizing.size_for": STORES_NOTHING,
    "fleet.services.retiring.retire": ANNOUNCES,
    "fleet.services.retiring.unretire": ANNOUNCES,
    "fleet.services.stated_limits.create_limits": ANNOUNCES,
    "fleet.services.stated_limits.delete_limits": ANNOUNCES,
    "fleet.services.stated_limits.update_limits": ANNOUNCES,
    "fleet.services.units.corrections.correct_placement": ANNOUNCES,
    "fleet.services.units.corrections.swap_placements": ANNOUNCES,
    "fleet.services.units.corrections.take_back_placement": ANNOUNCES,
    "fleet.services.units.corrections.void_placement": ANNOUNCES,
    "fleet.services.units.history.enter_placement": ANNOUNCES,
    "fleet.services.units.passing_on.move_unit": WHOSE,
    "fleet.services.units.past_ownerships.enter_ownership": WHOSE,
    "fleet.services.units.passing_on.pass_site_on": WHOSE,
    "fleet.services.units.placements.place": ANNOUNCES,
    "fleet.services.units.placements.remove": ANNOUNCES,
    "fleet.services.units.placements.rotate_lead_lag": ANNOUNCES,
    "fleet.services.units.sites.create_site": UNUSED,
    "fleet.services.units.sites.update_site": ANNOUNCES,
    "fleet.services.units.sites_not_known.leave_behind": "nothing stands there any more",
    "fleet.services.units.sites_not_known.place_not_known": UNUSED,
    "fleet.services.units.units.add_position": ANNOUNCES,
    "fleet.services.units.units.change_position": ANNOUNCES,
    "fleet.services.units.units.create_unit": ANNOUNCES,
    "fleet.services.units.units.delete_position": ANNOUNCES,
    "fleet.services.units.units.delete_unit": ANNOUNCES,
    "fleet.services.units.units.update_unit": ANNOUNCES,
    "fleet.intake.directory.site_directory": STORES_NOTHING,
    "fleet.intake.directory.unit_directory": STORES_NOTHING,
    "fleet.intake.feed_water.take_rows": ANNOUNCES,
    "fleet.intake.payloads.take_reading": ANNOUNCES,
    "fleet.intake.payloads.take_readings": ANNOUNCES,
    "fleet.intake.payloads.take_sample": ANNOUNCES,
    "fleet.intake.payloads.take_samples": ANNOUNCES,
    "fleet.intake.reading_columns.judge_columns": STORES_NOTHING,
    "fleet.intake.reading_fields.hold_to_source": STORES_NOTHING,
    "fleet.intake.reading_tables.take_table": ANNOUNCES,
    "fleet.intake.readings.directory_of": STORES_NOTHING,
    "fleet.intake.readings.judge": STORES_NOTHING,
    "fleet.intake.readings.make_reading": STORES_NOTHING,
    "fleet.intake.readings.take_rows": ANNOUNCES,
    "fleet.intake.logs.read_whole": "what takes the rows announces them",
    "fleet.intake.storing.note_post": PAPERS,
    "fleet.intake.storing.open_batch": PAPERS,
    "fleet.intake.uploads.start_upload": A_JOB,
    "fleet.intake.wqx_log.read_log": ANNOUNCES,
    "scheduling.services.money.costs.report_costs": STORES_NOTHING,
    "scheduling.services.money.entries.change_entry": BOOKS,
    "scheduling.services.money.entries.delete_entry": BOOKS,
    "scheduling.services.money.entries.enter": BOOKS,
    "scheduling.services.money.invoices.cancel_invoice": BOOKS,
    "scheduling.services.money.invoices.issue_invoice": BOOKS,
    "scheduling.services.needs.needs.add_need": ANNOUNCES,
    "scheduling.services.needs.needs.drop_need": ANNOUNCES,
    "scheduling.services.nightly.start_nightly_job": A_JOB,
    "scheduling.services.orders.deliveries.receive_order": STOCK,
    "scheduling.services.orders.deliveries.void_delivery": STOCK,
    "scheduling.services.orders.drafts.draft_orders": STOCK,
    "scheduling.services.orders.orders.cancel_order": STOCK,
    "scheduling.services.orders.orders.create_order": STOCK,
    "scheduling.services.orders.orders.edit_order": STOCK,
    "scheduling.services.orders.orders.expect_order": STOCK,
    "scheduling.services.orders.orders.new_order": STOCK,
    "scheduling.services.orders.orders.place_order": STOCK,
    "scheduling.services.orders.orders.send_order": STOCK,
    "scheduling.services.outlook.start_frontier_job": STORES_NOTHING,
    "scheduling.services.outlook.start_preview_job": STORES_NOTHING,
    "scheduling.services.people.absences.change_absence": ROUNDS,
    "scheduling.services.people.absences.record_absence": ROUNDS,
    "scheduling.services.people.installers.create_installer": ANNOUNCES,
    "scheduling.services.people.installers.delete_installer": ANNOUNCES,
    "scheduling.services.erasure.erase_client": ANNOUNCES,
    "scheduling.services.people.installers.retire_installer": ANNOUNCES,
    "scheduling.services.people.installers.unretire_installer": ANNOUNCES,
    "scheduling.services.people.installers.update_installer": ANNOUNCES,
    "scheduling.services.people.messages.confirmed": PEOPLE,
    "scheduling.services.people.messages.note_call": PEOPLE,
    "scheduling.services.people.messages.offer_declined": PEOPLE,
    "scheduling.services.people.messages.offer_taken": PEOPLE,
    "scheduling.services.people.messages.on_the_way": PEOPLE,
    "scheduling.services.policy.change_policy": ANNOUNCES,
    "scheduling.services.rounds.calendar_feeds.end_feed": PEOPLE,
    "scheduling.services.rounds.calendar_feeds.open_feed": PEOPLE,
    "scheduling.services.rounds.confirmed_times.accept": STAYS_AS_CONFIRMED,
    "scheduling.services.rounds.confirmed_times.ask_for_call": PEOPLE,
    "scheduling.services.rounds.confirmed_times.confirm": STAYS_AS_CONFIRMED,
    "scheduling.services.rounds.confirmed_times.decline": ANNOUNCES,
    "scheduling.services.rounds.confirmed_times.cancel": ANNOUNCES,
    "scheduling.services.rounds.confirmed_times.follow": ROUNDS,
    "scheduling.services.rounds.confirmed_times.take_back": ANNOUNCES,
    "scheduling.services.rounds.day_sheets.round_of_today": STORES_NOTHING,
    "scheduling.services.rounds.hand_moves.move_stop": ROUNDS,
    "scheduling.services.rounds.hand_moves.take_stop_out": ROUNDS,
    "scheduling.services.rounds.jobs.start_plan_job": ROUNDS,
    "scheduling.services.rounds.offers.offer_plan": STAYS_AS_CONFIRMED,
    "scheduling.services.rounds.plans.plan_rounds": ROUNDS,
    "scheduling.services.rounds.plans.publish_plan": ROUNDS,
    "scheduling.services.rounds.replanning.replan_day": ANNOUNCES,
    "scheduling.services.rounds.site_pairs.pair_sites": ROUNDS,
    "scheduling.services.stock.movements.move_stock": STOCK,
    "scheduling.services.stock.movements.void_movement": STOCK,
    "scheduling.services.stock.stock.count_stock": STOCK,
    "scheduling.services.stock.van_loads.load_van": STOCK,
    "scheduling.services.stock.stock.forget_level": STOCK,
    "scheduling.services.stock.stock.give_back": STOCK,
    "scheduling.services.stock.stock.put_into_stock": STOCK,
    "scheduling.services.stock.stock.put_into_store": STOCK,
    "scheduling.services.stock.stock.take_from_stock": STOCK,
    "scheduling.services.stock.stock.withdraw_delivery": STOCK,
    "scheduling.services.visits.additions.accept_additions": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.additions.decline_additions": ANNOUNCES,
    "scheduling.services.visits.locks.forget_lock": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.locks.lock_stop": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.locks.put_lock": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.locks.unlock_visit": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.accept_offer": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.begin_visit": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.cancel_visit": ANNOUNCES,
    "scheduling.services.visits.visits.complete_visit": ANNOUNCES,
    "scheduling.services.visits.visits.confirm_visit": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.depart": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.decline_offer": ANNOUNCES,
    "scheduling.services.visits.visits.report_not_done": ANNOUNCES,
    "scheduling.services.visits.visits.offer_times": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.offer_visit": STAYS_AS_CONFIRMED,
    "scheduling.services.visits.visits.unconfirm_visit": ANNOUNCES,
    "scheduling.services.work.photos.add_photo": PAPERS,
    "scheduling.services.work.reading_photos.add_reading_photo": PAPERS,
    "scheduling.services.work.records.record_work": ANNOUNCES,
    "scheduling.services.work.taking_back.correct_record": ANNOUNCES,
    "scheduling.services.work.taking_back.report_work": ANNOUNCES,
    "scheduling.services.work.taking_back.void_record": ANNOUNCES,
}

# Writes that a viewset carries out by itself, without a service.
ROUTES = {
    "POST /api/v1/catalogue-items/": UNUSED,
    "DELETE /api/v1/catalogue-items/<pk>/": "an item that stands or stood somewhere cannot be deleted",
    "POST /api/v1/parts-rules/": STOCK,
    "PATCH /api/v1/parts-rules/<pk>/": STOCK,
    "DELETE /api/v1/parts-rules/<pk>/": STOCK,
    "DELETE /api/v1/sites/<pk>/": "a site with units cannot be deleted, and the visits proposed to it go with it",
    "POST /api/v1/suppliers/": STOCK,
    "PATCH /api/v1/suppliers/<pk>/": STOCK,
    "DELETE /api/v1/suppliers/<pk>/": STOCK,
    "DELETE /api/v1/absences/<pk>/": ROUNDS,
    "DELETE /api/v1/site-pairs/<pk>/": ROUNDS,
}


def _unserved_routes() -> set[str]:
    own = {"create": CreateMixin, "partial_update": UpdateMixin, "destroy": DestroyMixin}
    performs = {"create": "perform_create", "partial_update": "perform_update", "destroy": "perform_destroy"}

    def is_unserved(route: Route) -> bool:
        mixin, view = own.get(route.action or ""), route.view_class
        if mixin is None or view.__module__.split(".")[0] not in ("fleet", "scheduling"):
            return False
        name = performs[route.action or ""]
        # Of what can be retired, the answer says so; what deletes it is the same.
        usual = {getattr(mixin, route.action), getattr(RetireMixin, route.action, None)}
        return getattr(view, route.action) in usual and getattr(view, name) is getattr(mixin, name)

    return {str(route) for route in every_route() if is_unserved(route)}


def _names(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _names(constant)


def _announces(service: Service) -> bool:
    """Whether what a service calls, or the methods of the classes it makes, call `announce` somewhere."""
    waiting, looked_at = [service], set()
    while waiting:
        function = inspect.unwrap(waiting.pop())
        if function is announce:
            return True
        if function in looked_at:
            continue
        looked_at.add(function)
        names = set(_names(function.__code__))
        called = [function.__globals__[name] for name in names if name in function.__globals__]
        called += [
            getattr(module, name)
            for module in called
            if isinstance(module, ModuleType) and module.__name__.split(".")[0] in ("fleet", "scheduling")
            for name in names
            if hasattr(module, name)
        ]
        for made in called:
            if (getattr(made, "__module__", None) or "").split(".")[0] not in ("fleet", "scheduling"):
                continue
            if inspect.isclass(made):
                waiting += [method for _, method in inspect.getmembers(made, inspect.isfunction)]
            elif inspect.isfunction(made):
                waiting.append(made)
    return False


WRITES = services_of(ROOMS)


def test_the_table_has_a_row_for_every_write_and_no_other() -> None:
    assert set(WRITES) == set(SERVICES)
    assert _unserved_routes() == set(ROUTES)


@pytest.mark.parametrize("name", WRITES)
def test_a_write_announces_what_it_changes_or_the_table_says_why_nothing_follows(name: str) -> None:
    assert _announces(WRITES[name]) is (SERVICES[name] == ANNOUNCES)
