"""Freezing the budget: sums to the minor unit, and each line's base estimate kept beside it."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

import pytest

from forecast.engine.forecast import Forecast
from forecast.errors import LedgerError, UnusualError
from forecast.ledger.folder import BuildFolder
from forecast.views.settling_words import freeze_question
from forecast.watching.freezing import freeze, own_budget


@pytest.mark.parametrize(
    ("budget", "currency", "minor"),
    [
        (12_345.67, "EUR", 1_234_567),
        (0.29, "EUR", 29),  # 0.29 × 100 is 28.999… in binary
        (1_500_000, "JPY", 1_500_000),
        (1_234.567, "KWD", 1_234_567),
        (None, "EUR", None),
    ],
)
def test_the_files_own_budget_is_exact_to_the_minor_unit(
    budget: float | None, currency: str, minor: int | None
) -> None:
    assert own_budget(budget, currency) == minor


@pytest.mark.parametrize(("currency", "units"), [("EUR", 100), ("JPY", 1)])
def test_a_frozen_budget_keeps_every_lines_base_in_minor_units_and_its_chance(
    tmp_path: Path, currency: str, units: int
) -> None:
    """A uniform line from 1,000 to 3,000 beside a fee of 500: a budget of 3,000 is enough in three builds of four."""
    text = f'[build]\nname = "x"\ncurrency = "{currency}"\ncountry = "IE"\n'
    text += '[[line]]\nid = "kit"\ngroup = "kit"\namount = { shape = "uniform", min = 1000, max = 3000 }\n'
    text += '[[line]]\nid = "fee"\ngroup = "other"\namount = 500\n'
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    folder = BuildFolder.at(tmp_path)
    frozen = freeze(folder, 3_000 * units, None, 4096, 1, "with the loan")
    assert frozen.baseline.base_by_line == {"kit": 2_000 * units, "fee": 500 * units}
    assert frozen.chance == pytest.approx(0.75, abs=0.005)
    assert folder.ledger().baseline() == frozen.baseline
    assert (frozen.baseline.build_text, frozen.baseline.note) == (text, "with the loan")


def test_a_budget_of_nothing_is_refused(tmp_path: Path) -> None:
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "a"\ngroup = "other"\namount = 5\n'
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    with pytest.raises(LedgerError, match="must be above zero"):
        freeze(BuildFolder.at(tmp_path), 0, None, 64, 1)


@pytest.mark.parametrize(
    ("budget", "asked"),
    [
        (900, "€900 is enough in fewer than 1 of 100 builds: half of them cost more than €2,5"),
        (2_500, ""),
        (8_000, ""),
        (12_000, "€12,000 is more than three times what 90 of 100 builds cost at most: €3,3"),
    ],
)
def test_a_sum_that_is_hardly_a_budget_is_asked_about_before_anything_is_kept(
    tmp_path: Path, budget: int, asked: str
) -> None:
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    text += '[[line]]\nid = "kit"\ngroup = "kit"\namount = { shape = "uniform", min = 1500, max = 3500 }\n'
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    folder = BuildFolder.at(tmp_path)

    def ask(now: Forecast) -> None:
        told = freeze_question(now, 100 * budget, "EUR")
        assert told.startswith(asked)
        if told:
            raise UnusualError(told)

    with pytest.raises(UnusualError) if asked else nullcontext():
        freeze(folder, 100 * budget, None, 4096, 1, ask=ask)
    assert (folder.ledger().baseline() is None) is bool(asked)
