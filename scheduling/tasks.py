"""What workers do here: each task takes ids by keyword, makes one service call, and can be done twice without harm."""

from fleet.services import jobs
from scheduling.services import planning_jobs

jobs.register(planning_jobs.JOB_KIND, planning_jobs.plan_chunk)
