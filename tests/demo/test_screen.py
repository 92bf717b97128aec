"""The screen prints the same words on a terminal and in a file, and never takes text for markup."""

import io

from scheduling.demo.screen import Screen


def test_in_a_file_nothing_moves_and_nothing_is_coloured() -> None:
    out = io.StringIO()
    screen = Screen(out)
    with screen.working() as working, working.step("Reading the logs") as tell:
        tell(0.5, "half")
    screen.heading("Rounds")
    screen.table(("item", "needed"), [("SED-5", 3)], numbers=("needed",))
    assert "Reading the logs" in out.getvalue()
    assert "SED-5" in out.getvalue()
    assert "\x1b" not in out.getvalue()


def test_a_long_sentence_stays_on_one_line_in_a_file() -> None:
    out = io.StringIO()
    Screen(out).line("word " * 60, indent=2)
    assert len(out.getvalue().strip().splitlines()) == 1


def test_brackets_are_text() -> None:
    out = io.StringIO()
    Screen(out).line("inlet pressure [psi]: [bold]600[/bold]")
    assert "inlet pressure [psi]: [bold]600[/bold]" in out.getvalue()
