"""The figures of tax and customs on the page of lines: what comes first, what hangs on it, and notes beside them."""

from __future__ import annotations

from pathlib import Path

from forecast.start import create_build, read_answers
from tests.dashboard.conftest import Run, words


def test_the_page_of_lines_tells_what_to_look_up_first_and_notes_beside_their_figures(
    run: Run, tmp_path: Path
) -> None:
    answers = {"country": "NZ", "origin": "JP", "rate": 0.011, "shipping": "sea"}
    app = run(create_build(tmp_path / "car", read_answers(answers)), "lines")
    text = words(app)
    assert "First, out of date or confirmed by nobody: Duty on other body parts (NZ$" in text
    assert (
        "Duty on other body parts, 0 to 5 %. 5 % is named without a source. Old concessions" in text
    )  # not folded away: it is printed
    tables = " ".join(item.proto.body for item in app.main.get("html"))
    assert "0 to 5 %. 5 % is named without a source. Old concessions free many parts" in tables
    assert "<td>look it up; NZ$" in tables
    assert tables.index("<td>look it up; NZ$") < tables.index("held until 31 March 2026")
