"""Settings come from the environment, and a malformed value stops the start with a sentence."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def start(**variables: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/tmp")} | variables
    return subprocess.run(
        [sys.executable, "manage.py", "check"], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120
    )


@pytest.mark.parametrize(
    ("variables", "sentence"),
    [
        ({"DEBUG": "perhaps"}, "DEBUG is 'perhaps': write on or off."),
        ({"REDIS_URL": "localhost:6379"}, "REDIS_URL is 'localhost:6379': it must start with redis://"),
        ({"DATABASE_URL": "mongodb://x/y"}, "DATABASE_URL is 'mongodb://x/y': it must start with sqlite://"),
        ({"ALLOWED_HOSTS": "water.example"}, "SECRET_KEY is not set"),
        ({"JOB_LEASE_SECONDS": "soon"}, "JOB_LEASE_SECONDS is 'soon': write a whole number of seconds"),
        ({"TRUSTED_PROXIES": "one"}, "TRUSTED_PROXIES is 'one': write a whole number"),
        ({"HTTPS_ONLY": "perhaps"}, "HTTPS_ONLY is 'perhaps': write on or off."),
        ({"LOG_LEVEL": "LOUD"}, "LOG_LEVEL is 'LOUD': write one of"),
    ],
)
def test_a_malformed_variable_stops_the_start_and_says_what_would_be_right(
    variables: dict[str, str], sentence: str
) -> None:
    answer = start(**variables)
    assert answer.returncode != 0
    assert sentence in answer.stderr


def test_the_default_needs_nothing_set() -> None:
    assert start().returncode == 0
