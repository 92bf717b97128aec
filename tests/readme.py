"""The lists of calls in the README, run as its reader runs them: by a shell and curl, against a server."""

import json
import subprocess
from pathlib import Path
from typing import Any

README = Path(__file__).parents[1] / "README.md"
_HELPERS = "where only an id names a thing, it is looked up first:"
# Each answer stands on a line of its own in a log; a refused call ends the list.
_LOGGED_CURL = 'curl() { local answer; answer=$(command curl --fail-with-body "$@"); echo "$answer" | tee -a "$LOG"; }'


def commands(sentence: str) -> str:
    """The commands that the README lists under a sentence."""
    _, found, rest = README.read_text().partition(f"{sentence}\n\n```sh\n")
    assert found, f"the README lists nothing under '{sentence}'"
    return rest.partition("```")[0]


def answers_of(sentence: str, *, api: str, token: str, folder: Path) -> list[Any]:
    """Run the commands that the README lists under a sentence; what each call answered, in order."""
    log = folder / "answers.log"
    lines = [f"API={api}", f"TOKEN={token}", f"LOG={log}", _LOGGED_CURL, commands(_HELPERS), commands(sentence)]
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", "\n".join(lines)], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, f"{done.stdout[-3000:]}\n{done.stderr[-2000:]}"
    return [json.loads(line) for line in log.read_text().splitlines()]
