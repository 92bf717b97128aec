"""A piece of long work: how far it is, and stopping it."""

from typing import Any, Final

from django.http import HttpResponse

from accounts.jobs.api import JobViewSet
from accounts.language import gettext, gettext_noop
from scheduling.pages.office.base import OfficeForms

_TITLES: Final = {
    "plan": gettext_noop("The rounds are being planned"),
    "policy_preview": gettext_noop("The next twelve months are being lived through"),
    "forecast_quality": gettext_noop("The forecasts of the past are being judged"),
}
#: Where one goes on when the work is done.
_THERE: Final = {
    "policy_preview": "/company/policy/?run={job}",
    "forecast_quality": "/company/forecasts/",
}


class RunPage(OfficeForms):
    """Watches a job until it is done, and then goes on to what came of it."""

    template_name = "scheduling/office/run.html"
    part_names = {"run": "scheduling/office/parts/run.html"}
    rights = {"get": ("job", "retrieve"), "post": ("job", "stop")}
    actions = {"stop": ("job", "stop")}

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        job = self.found(JobViewSet, "retrieve", pk=pk)
        there = self._there(job)
        if there and job["state"] in ("done", "stopped"):
            return self.went(there, "")
        title = gettext(_TITLES.get(job["kind"], job["kind"].replace("_", " ")))
        return self.show(status=status, job=job, title=title, percent=round(100 * job["share_done"]), **context)

    @staticmethod
    def _there(job: Any) -> str:
        if job["kind"] == "plan":
            plan = (job["result"] or {}).get("plan")
            return f"/week/?plan={plan}" if plan else ""
        return _THERE.get(job["kind"], "").format(job=job["id"])

    def do_stop(self, form: Any, pk: int) -> HttpResponse:
        """Ask the job to stop; a plan keeps the best so far."""
        answer = self.ask(JobViewSet, "stop", pk=pk, data={})
        return self.then(answer, f"/runs/{pk}/", "", pk=pk)
