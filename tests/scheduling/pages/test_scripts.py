"""Modules that are sent as one script do what they do as modules."""

from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from scheduling.pages.my_day import scripts
from tests.pages import browser, text_of

pytestmark = pytest.mark.interface


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(scripts, "FOLDER", tmp_path)
    scripts.joined.cache_clear()
    monkeypatch.setattr(scripts, "joined", scripts.joined.__wrapped__)
    return tmp_path


def test_each_module_stands_once_and_behind_what_it_imports(folder: Path) -> None:
    (folder / "leaf.js").write_text("export const one = 1;\nexport function two() { return one + 1; }\n")
    (folder / "middle.js").write_text(
        'import * as leaf from "./leaf.js";\nexport const three = () => leaf.two() + 1;\n'
    )
    (folder / "top.js").write_text(
        'import { three } from "./middle.js";\nimport { one, two } from "./leaf.js";\nthree();\n'
    )
    leaf = "const one = 1;\nfunction two() { return one + 1; }\n"
    middle = "const leaf = of_leaf;\nconst three = () => leaf.two() + 1;\n"
    top = "const { three } = of_middle;\nconst { one, two } = of_leaf;\nthree();\n"
    parts = (("leaf", leaf, "one, two"), ("middle", middle, "three"), ("top", top, ""))
    functions = [f"const of_{name} = (() => {{\n{text}\nreturn {{ {gives} }};\n}})();" for name, text, gives in parts]
    assert scripts.joined("top") == "\n".join(['"use strict";', *functions])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("export default 1;\n", "export default 1;"),
        ("export let count = 1;\n", "export let count"),
        ('import { a as b } from "./leaf.js";\n', "import { a as b }"),
        ('const late = import("./leaf.js");\n', "import("),
        ('import { a } from "./top.js";\n', "in a circle: top > top"),
    ],
)
def test_what_cannot_be_joined_is_named(folder: Path, text: str, told: str) -> None:
    (folder / "leaf.js").write_text("export const a = 1;\n")
    (folder / "top.js").write_text(text)
    with pytest.raises(ImproperlyConfigured) as caught:
        scripts.joined("top")
    assert told in str(caught.value)


@pytest.mark.parametrize("name", scripts.ENTRIES)
def test_anybody_is_given_the_script_and_a_browser_asks_again_for_it_after_a_minute(name: str) -> None:
    answer = browser().get(f"/my-day/{name}.js", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert (answer.headers["Cache-Control"], answer.headers["Content-Encoding"]) == ("max-age=60", "gzip")
    assert len(answer.content) < 20_000
    assert "of_words" in text_of(browser().get(f"/my-day/{name}.js"))
