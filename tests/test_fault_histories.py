"""The histories of faults are many, the same each time, known to be knowable, and logs that the intake reads."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import TestCase
from rest_framework.test import APIClient

from accounts.models import Company
from tests import factories
from tests.strangers.fault_histories.every import EVERY_FAULT, HEALTHY, fault_histories, healthy_histories
from tests.strangers.fault_histories.instruments import VARIANTS
from tests.strangers.fault_histories.life import Looked
from tests.strangers.fault_histories.make import DAYS_TO_BE_FOUND, make_fault_history
from tests.strangers.fault_histories.membrane import Label, Membrane
from tests.strangers.fault_histories.parts import LAYOUTS
from tests.strangers.fault_histories.signs import Sign, first_day_to_know
from tests.strangers.fault_histories.words import FAULTS

KINDS = {fault.name: fault for fault in EVERY_FAULT}


def test_there_are_enough_of_them() -> None:
    assert len(KINDS) == len(EVERY_FAULT) >= 22
    assert len(EVERY_FAULT) * len(VARIANTS) >= 66
    assert {words for fault in EVERY_FAULT for words in (*fault.accepted, *fault.accepted_blind)} <= set(FAULTS)
    assert {fault.layout for fault in EVERY_FAULT} == set(LAYOUTS)
    # Five of every nine are older than two years.
    old = [history.years > 2 for history in healthy_histories(count=18)]
    assert (HEALTHY, sum(old)) == (220, 10)


@pytest.mark.parametrize("name", ["membrane burst", "restrictor too tight from the first day", "tank lost its air"])
@pytest.mark.parametrize("variant", VARIANTS)
def test_a_seed_makes_the_same_history_again_and_it_can_be_known_before_the_log_ends(name: str, variant: str) -> None:
    first, again, other = (make_fault_history(KINDS[name], variant, code="F1", seed=seed) for seed in (3, 3, 4))
    assert first == again
    assert first.log != other.log
    truth = first.truth
    assert truth is not None
    assert truth.since <= truth.knowable_on <= first.last_day - timedelta(days=DAYS_TO_BE_FOUND)
    assert [row.at for row in first.rows] == sorted(row.at for row in first.rows)


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2])
def test_any_seed_makes_every_fault(seed: int) -> None:
    """The first unit that is drawn may never show it; the next one does."""
    histories = list(fault_histories(seed))
    assert len(histories) == len(EVERY_FAULT) * len(VARIANTS)
    assert all(history.truth and history.truth.knowable_on <= history.last_day for history in histories)


def test_a_fault_that_no_log_can_show_is_refused() -> None:
    unseen = replace(KINDS["membrane burst"], signs=(Sign("passage", over=1e6),), seen=())
    with pytest.raises(ValueError, match="no unit shows it"):
        make_fault_history(unseen, "easy", code="F1", seed=3)


def test_a_membrane_at_its_label_gives_what_the_label_says_and_a_leak_adds_salt() -> None:
    label = Label(flow=284.0)
    membrane = Membrane(label, passage=0.04)
    concentrate = label.flow * (1 - label.recovery) / label.recovery
    flow, tds = membrane.permeate(label.bar, 0.0, label.degc, label.tds, concentrate)
    assert flow == pytest.approx(label.flow, rel=0.02)
    assert tds / label.tds == pytest.approx(0.04, rel=0.03)
    colder, _ = membrane.permeate(label.bar, 0.0, 10.0, label.tds, concentrate)
    # About 3 % less a degree (common practice, no source).
    assert colder / flow == pytest.approx(0.97**15, abs=0.04)
    membrane.bypass = 3.2
    leaking, saltier = membrane.permeate(label.bar, 0.0, label.degc, label.tds, concentrate)
    assert leaking - flow == pytest.approx(3.2 * label.bar)
    assert saltier > 1.8 * tds


def test_the_day_of_knowledge_is_that_of_the_second_reading_that_shows_it() -> None:
    history = make_fault_history(KINDS["membrane burst"], "easy", code="F1", seed=3)
    day = history.rows[0].at
    sound = [
        Looked(day + timedelta(days=n), "flowing", "routine", {"feed TDS": 200.0, "permeate TDS": 5.0})
        for n in range(6)
    ]
    ill = [Looked(look.at, "flowing", "routine", {**look.values, "permeate TDS": 9.0}) for look in sound[2:]]
    signs = (Sign("passage", over=1.6),)
    since = (day + timedelta(days=2)).date()
    assert first_day_to_know(signs, 2, sound[:2] + ill, sound, since) == since + timedelta(days=1)
    assert first_day_to_know(signs, 1, sound[:2] + ill, sound, since) == since
    assert first_day_to_know(signs, 1, sound, sound, since) is None
    assert first_day_to_know((Sign("passage", over=2.0),), 1, sound[:2] + ill, sound, since) is None


def test_every_row_of_their_logs_is_read(company: Company, as_installer: APIClient) -> None:
    names = ("seal never seated", "wrong membrane from the first day", "restrictor too tight from the first day")
    refused: Counter[str] = Counter()
    for number, (name, variant) in enumerate(zip(names, VARIANTS, strict=True)):
        history = make_fault_history(KINDS[name], variant, code=f"F{number}", seed=5)
        factories.UnitFactory(company=company, code=f"F{number}", commissioned_on=history.commissioned_on)
        sent = SimpleUploadedFile(f"F{number}.csv", history.log.encode(), content_type="text/csv")
        with TestCase.captureOnCommitCallbacks(execute=True):
            answer = as_installer.post("/api/v1/readings/upload/", {"file": sent}, format="multipart")
        assert answer.status_code == 202, answer.content
        job = as_installer.get(answer.headers["Location"]).json()
        batch = as_installer.get(f"/api/v1/intake-batches/{job['result']['batch']}/").json()
        assert batch["stored"] + batch["refused"] == batch["rows"] == len(history.rows)
        refused.update(fault["sentence"] for row in batch["refused_rows"] for fault in row["faults"])
    assert not refused
