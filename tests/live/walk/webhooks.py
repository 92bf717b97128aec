"""Events out: an endpoint is registered, tried, changed and deleted; nobody answers there."""

from tests.live.parts import Person
from tests.live.workers import wait_until


def walk(owner: Person) -> None:
    """Register an endpoint at a name that leads nowhere, and see that the worker tried it."""
    made = owner.post(
        "/webhook-endpoints/", {"url": "https://nobody.receiver.example/hooks", "events": ["visit.planned"]}
    )
    assert made["secret"].startswith("whsec_")
    endpoint = f"/webhook-endpoints/{made['id']}/"
    assert owner.post(f"{endpoint}rotate-secret/")["secret"] != made["secret"]
    tried = owner.post(f"{endpoint}test/")["id"]
    wait_until(lambda: owner.get(f"/deliveries/{tried}/")["state"] == "failed", "the worker to try the endpoint")
    before = owner.get(f"/deliveries/{tried}/")["attempted_at"]
    # the worker may be quicker than the answer: only what it leaves behind is certain
    owner.post(f"/deliveries/{tried}/replay/")
    wait_until(lambda: owner.get(f"/deliveries/{tried}/")["attempted_at"] > before, "the worker to try it once more")
    assert owner.patch(endpoint, {"is_on": False})["is_on"] is False
    owner.delete(endpoint)
