"""Answers on the way: where they stand, and how they are kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.start import DONT_KNOW, questions, read_answers, read_draft, stand, write_draft

WRITTEN = {
    "name": 'Wide "coupe"',
    "country": "IE",
    "currency": "EUR",
    "origin": "JP",
    "kit_price": "1800-3200",
}


def test_what_was_kept_is_read_again_and_is_an_answers_file(tmp_path: Path) -> None:
    file = tmp_path / "new" / "answers.toml"
    write_draft(file, WRITTEN)
    assert read_draft(file) == WRITTEN
    assert read_answers(file) == stand(WRITTEN).answers()


def test_only_questions_are_kept(tmp_path: Path) -> None:
    file = tmp_path / "answers.toml"
    write_draft(file, WRITTEN | {"colour": "red"})
    assert "colour" not in file.read_text(encoding="utf-8")
    file.write_text('colour = "red"\nname = "A"\nbudget = 9500\n', encoding="utf-8")
    assert read_draft(file) == {"name": "A"}


@pytest.mark.parametrize("text", ["not = [toml", "", "\x00", '# name = "A"'])
def test_what_cannot_be_used_counts_as_nothing_kept(tmp_path: Path, text: str) -> None:
    file = tmp_path / "answers.toml"
    assert read_draft(file) == {}
    file.write_text(text, encoding="utf-8")
    assert read_draft(file) == {}


def test_a_folder_that_cannot_be_made_is_no_reason_to_fail(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    write_draft(tmp_path / "file" / "answers.toml", WRITTEN)
    assert read_draft(tmp_path / "file" / "answers.toml") == {}


def test_the_first_open_question_comes_next() -> None:
    standing = stand({"name": "A", "currency": "EUR"})
    assert standing.first_open is not None
    assert standing.first_open.id == "country"
    assert standing.wrong is None


def test_an_earlier_answer_rules_a_later_question_out() -> None:
    abroad = stand({"name": "A", "country": "IE", "currency": "EUR", "origin": "JP"})
    assert "shipping" in {item.id for item in abroad.asked}
    near = stand({"name": "A", "country": "IE", "currency": "EUR", "origin": "DE", "shipping": "sea"})
    assert "shipping" not in {item.id for item in near.asked}
    assert "shipping" not in near.values


def test_an_answer_that_no_longer_fits_is_asked_again() -> None:
    fits = WRITTEN | {"panels": DONT_KNOW, "sent_from": "JP", "kit_currency": "JPY", "rate": "0.0057"}
    assert stand(fits).values["rate"] == pytest.approx(0.0057)
    standing = stand(fits | {"kit_currency": "USD"})
    assert standing.first_open is not None
    assert standing.first_open.id == "rate"
    assert "what one USD costs in EUR" in str(standing.wrong)


def test_all_answered_leaves_nothing_open() -> None:
    standing = stand({item.id: "" for item in questions()})
    assert standing.first_open is None
    assert standing.answers().country is None
