"""Settings come from the environment, and a malformed value stops the start with a sentence."""

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.test_language import a_catalogue

ROOT = Path(__file__).resolve().parents[1]


INTERRUPTED = """
import sys
from django.core import management

import manage

def interrupt(*args, **options):
    raise KeyboardInterrupt

management.execute_from_command_line = interrupt
sys.argv = ["manage.py", "nightly"]
manage.main()
"""


def start(root: Path = ROOT, /, **variables: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/tmp")} | variables
    return subprocess.run(
        [sys.executable, "manage.py", "check"], cwd=root, env=environment, capture_output=True, text=True, timeout=120
    )


@pytest.mark.parametrize(
    ("variables", "sentence"),
    [
        ({"DEBUG": "perhaps"}, "DEBUG is 'perhaps': write on or off."),
        ({"REDIS_URL": "localhost:6379"}, "REDIS_URL is 'localhost:6379': it must start with redis://"),
        ({"DATABASE_URL": "mongodb://x/y"}, "DATABASE_URL is 'mongodb://x/y': it must start with sqlite://"),
        ({"ALLOWED_HOSTS": "water.example"}, "SECRET_KEY is not set, and ALLOWED_HOSTS names a public host"),
        ({"PUBLIC_URL": "https://water.example"}, "SECRET_KEY is not set, and PUBLIC_URL names a public host"),
        ({"TRUSTED_PROXIES": "1"}, "SECRET_KEY is not set, and TRUSTED_PROXIES is set"),
        ({"HTTPS_ONLY": "on", "SECRET_KEY": " "}, "SECRET_KEY is not set, and HTTPS_ONLY is on"),
        ({"SESSION_IDLE_SECONDS": "0"}, "SESSION_IDLE_SECONDS is '0': write a whole number of seconds above zero."),
        ({"JOB_LEASE_SECONDS": "soon"}, "JOB_LEASE_SECONDS is 'soon': write a whole number of seconds"),
        ({"TRUSTED_PROXIES": "one"}, "TRUSTED_PROXIES is 'one': write a whole number"),
        ({"HTTPS_ONLY": "perhaps"}, "HTTPS_ONLY is 'perhaps': write on or off."),
        ({"EMAIL_URL": "mail.example"}, "EMAIL_URL is 'mail.example': it must start with consolemail://"),
        (
            {"TEXT_SENDER": "texts"},
            "TEXT_SENDER is 'texts': write the dotted path of a class, such as package.TextSender.",
        ),
        ({"GEOCODER": "maps"}, "GEOCODER is 'maps': write the dotted path of a class, such as package.Geocoder."),
        (
            {"METRICS_TOKEN": "secret"},
            "METRICS_TOKEN is too easy to guess: write 20 or more random letters and digits.",
        ),
        ({"SENTRY_DSN": "reports.example"}, "SENTRY_DSN is 'reports.example': it must start with http:// or https://"),
        ({"SENTRY_DSN": "https://reports.example"}, "SENTRY_DSN must be like https://key@host/number."),
        ({"LOG_FORMAT": "xml"}, "LOG_FORMAT is 'xml': write line or json."),
        ({"LOG_LEVEL": "LOUD"}, "LOG_LEVEL is 'LOUD': write one of"),
        ({"LANGUAGE_CODE": "de"}, "LANGUAGE_CODE is 'de': there must be a compiled catalogue at "),
    ],
)
def test_a_malformed_variable_stops_the_start_and_says_what_would_be_right(
    variables: dict[str, str], sentence: str
) -> None:
    answer = start(**variables)
    assert answer.returncode != 0
    assert sentence in answer.stderr
    assert "Traceback" not in answer.stderr


def test_what_the_readme_gives_for_a_public_server_passes_the_checks_for_one() -> None:
    public = {
        "SECRET_KEY": "q7Z!m2#vT9@xL4$wK8%nB3^cR6&yH1*dF5(gJ0)pS-uE+aW=iO",
        "ALLOWED_HOSTS": "water.example",
        "HTTPS_ONLY": "on",
        "TRUSTED_PROXIES": "1",
    }
    environment = {"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/tmp")} | public
    answer = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stderr


@pytest.mark.long
def test_the_example_of_a_servers_settings_passes_them_too() -> None:
    lines = (ROOT / "fleet" / "config" / "server" / "ro-fleet.env").read_text().splitlines()
    example = dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))
    own = {"SECRET_KEY": "q7Z!m2#vT9@xL4$wK8%nB3^cR6&yH1*dF5(gJ0)pS-uE+aW=iO"}
    environment = {"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/tmp")} | example | own
    answer = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stderr


def test_the_default_needs_nothing_set() -> None:
    assert start().returncode == 0


@pytest.mark.long
def test_a_developer_may_answer_to_any_name_without_a_key() -> None:
    assert start(DEBUG="on", ALLOWED_HOSTS="workshop.example").returncode == 0


def test_a_language_is_spoken_where_its_catalogue_lies(tmp_path: Path) -> None:
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "people.mo").write_bytes(b"no catalogue at all")
    refused = start(LANGUAGE_CODE="de", LOCALE_DIR=str(tmp_path))
    assert f"there must be a compiled catalogue at {folder / 'people.mo'}" in refused.stderr
    assert "Traceback" not in refused.stderr
    (folder / "people.mo").write_bytes(a_catalogue())
    assert start(LANGUAGE_CODE="de", LOCALE_DIR=str(tmp_path)).returncode == 0


def test_a_folder_that_cannot_be_written_is_said_in_a_sentence(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "fleet" / "config", tmp_path / "copy" / "fleet" / "config")
    (tmp_path / "copy" / "fleet" / "__init__.py").touch()
    (tmp_path / "copy" / "accounts").mkdir()
    shutil.copy(ROOT / "accounts" / "language.py", tmp_path / "copy" / "accounts")
    shutil.copy(ROOT / "manage.py", tmp_path / "copy")
    (tmp_path / "copy" / ".data").write_text("a file where the folder should be: nobody can make it, not even root")
    answer = start(tmp_path / "copy")
    assert answer.returncode != 0
    assert "cannot be made" in answer.stderr
    assert "DATABASE_URL" in answer.stderr
    assert "Traceback" not in answer.stderr


def test_ctrl_c_ends_a_command_with_a_sentence_and_the_code_of_an_interrupt() -> None:
    command = [sys.executable, "-c", INTERRUPTED]
    answer = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert answer.returncode == 130
    assert answer.stderr.strip() == "Stopped before the end. Run it again: nothing is done twice."


def test_a_reader_that_has_seen_enough_gets_no_traceback() -> None:
    environment = {"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/tmp")}
    command = [sys.executable, "manage.py", "nomenclature"]
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        errors = running.stderr.read()
    assert (running.returncode, errors) == (141, "")


def test_the_readme_has_one_table_of_all_settings() -> None:
    module = ast.parse((ROOT / "fleet" / "config" / "settings.py").read_text())
    readers = {"_flag", "_url", "_seconds", "_count", "str", "list", "int", "bool", "float"}
    read = {
        call.args[0].value
        for call in ast.walk(module)
        if isinstance(call, ast.Call)
        and getattr(call.func, "id", getattr(call.func, "attr", "")) in readers
        and call.args
        and isinstance(call.args[0], ast.Constant)
        and re.fullmatch(r"[A-Z][A-Z_]+", str(call.args[0].value))
    }
    page = (ROOT / "README.md").read_text()
    table = page[page.index("## Settings") :].split("\n## ")[0]
    rows = re.findall(r"^\| `([A-Z_]+)` \|", table, re.MULTILINE)
    assert len(read) > 20
    assert sorted(rows) == sorted(read)
