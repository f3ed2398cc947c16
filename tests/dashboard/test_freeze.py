"""Freezing the budget where it is decided on, and the card that leads there."""

from __future__ import annotations

from forecast.ledger.folder import BuildFolder
from forecast.watching.freezing import freeze
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field
from tests.dashboard.test_receipt_list import press

SUM = "The budget you commit to"


def test_the_budget_is_frozen_with_the_build_as_it_is(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "cost")
    field(app, "text_input", SUM).set_value("0")  # type: ignore[attr-defined]
    app = press(app.run(), "Freeze it")
    assert "must be above zero" in words(app)
    field(app, "text_input", SUM).set_value("12,500.00")  # type: ignore[attr-defined]
    app = press(app.run(), "Freeze it")
    baseline = before_ordering.ledger().baseline()
    assert baseline is not None
    assert baseline.budget_minor == 1_250_000
    assert baseline.build_text == before_ordering.build_file.read_text(encoding="utf-8")
    said = words(app)
    assert "**€12,500** for the way “All by yourself”. From now on the build is measured against it." in said
    assert "baseline" not in said
    assert "committed" not in said
    app = press(press(app, "Freeze another sum"), "Freeze this instead")
    assert [one.budget_minor for one in before_ordering.ledger().list_baselines()] == [1_250_000, 1_250_000]


def test_a_sum_that_is_hardly_a_budget_is_asked_about(run: Run, before_ordering: BuildFolder) -> None:
    freeze(before_ordering, 1_250_000, None, 1024, 1)
    app = press(run(before_ordering.build_file, "cost"), "Freeze another sum")
    field(app, "text_input", SUM).set_value("2,400.00")  # type: ignore[attr-defined]
    app = press(app.run(), "Freeze this instead")
    assert "€2,400 is enough in fewer than 1 of 100 builds: half of them cost more than" in words(app)
    assert len(before_ordering.ledger().list_baselines()) == 1
    field(app, "checkbox", "It is meant").set_value(True)  # type: ignore[attr-defined]
    app = press(app.run(), "Freeze this instead")
    assert [one.budget_minor for one in before_ordering.ledger().list_baselines()] == [1_250_000, 240_000]
    assert "It takes the place of €12,500, frozen on" in words(app)


def test_a_budget_that_can_mean_two_is_read_by_what_the_build_comes_to(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "cost")
    app = field(app, "text_input", SUM).set_value("19,000").run()  # type: ignore[attr-defined]
    assert "Which is meant?" not in "".join(item.label for item in app.radio)
    assert any("19,000 read as €19,000.00" in item.value.replace("\\", "") for item in app.caption)
    app = press(app, "Freeze it")
    baseline = before_ordering.ledger().baseline()
    assert baseline is not None
    assert baseline.budget_minor == 1_900_000
    assert not any("read as" in item.value for item in app.caption)


def test_a_question_about_the_sum_goes_with_the_answer(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "cost")
    app = field(app, "text_input", SUM).set_value("500,000").run()  # type: ignore[attr-defined]
    assert "Choose which is meant, at its field." in words(press(app, "Freeze it"))
    asked = next(item for item in app.radio if "Which is meant?" in item.label)
    app = press(asked.set_value("500000").run(), "Freeze it")
    assert "€500,000 is more than three times what 90 of 100 builds cost at most" in words(app)
    field(app, "checkbox", "It is meant").set_value(True)  # type: ignore[attr-defined]
    app = press(app.run(), "Freeze it")
    assert not [item for item in app.radio if "Which is meant?" in item.label]
    assert before_ordering.ledger().list_baselines()[0].budget_minor == 50_000_000


def test_what_stands_asks_to_freeze_once_something_is_paid(run: Run, before_ordering: BuildFolder) -> None:
    card = "No budget is frozen yet."
    assert card not in words(run(before_ordering.build_file, "stand"))
    before_ordering.ledger().add_commitment("2026-05-04", "A shop", "tyres", 64_000, "EUR")
    app = run(before_ordering.build_file, "stand")
    assert card in words(app)
    assert any(item.label == "Freeze it on “What will it cost?”" for item in app.button)
    freeze(before_ordering, 1_250_000, None, 1024, 1)
    assert card not in words(run(before_ordering.build_file, "stand"))
