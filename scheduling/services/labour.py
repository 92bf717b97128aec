"""What offers reckon for the labour of visits: by the policy that visits are planned by."""

from accounts.models import Company
from fleet.services.sizing.labour import Labour
from scheduling.services.policy import read_policy


def labour_by_policy(company: Company) -> Labour:
    """What coming to a site costs, driving aside and the minutes around the work included, and a replacement."""
    policy = read_policy(company=company).planning
    minute = policy.working_cost_per_minute
    return Labour(
        visit_cost=policy.visit_cost + policy.removal_minutes * minute,
        replacement_cost=policy.task_minutes["replace"] * minute,
    )
