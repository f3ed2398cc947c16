"""What the README shows is what the commands say."""

from __future__ import annotations

import re

from tests.readme import README, SAMPLE, fresh


def test_every_sample_is_what_its_command_prints() -> None:
    text = README.read_text(encoding="utf-8")
    assert text == fresh(text), "the README shows other figures: python -m tests.readme writes them anew"


def test_a_sample_stands_under_the_first_paragraph() -> None:
    before = README.read_text(encoding="utf-8").partition("```")[0]
    assert before.count("\n\n") == 2, "the title, the first paragraph, then the sample"
    assert SAMPLE.search(README.read_text(encoding="utf-8"), len(before)).start() == len(before)  # type: ignore[union-attr]


def test_another_figure_would_be_seen() -> None:
    text = README.read_text(encoding="utf-8")
    wrong = re.sub(r"Hold €[\d,]+", "Hold €1", text)
    assert wrong != text
    assert fresh(wrong) == fresh(text)


def test_every_threat_has_tests_that_there_are() -> None:
    text = (README.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    _, _, section = text.partition("## Threats\n")
    rows = [line.split(" | ") for line in section.partition("\n## ")[0].splitlines() if line.startswith("| ")]
    there = {
        name
        for file in (README.parent / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)\(", file.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert len(rows) > 15
    for threat, _, tests in rows[2:]:
        named = re.findall(r"`(\w+)`", tests)
        assert named, threat
        assert set(named) <= there, (threat, set(named) - there)
