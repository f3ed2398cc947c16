"""Reasons and lessons as rows: they add up as they are written, and say the same as every other place."""

from __future__ import annotations

import math
import re
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.ledger import Ledger
from forecast.ledger.folder import DEMOS, BuildFolder
from forecast.ledger.receipts_csv import load_receipts_csv
from forecast.views.sentences import lesson_sentences
from forecast.views.watch_words import cause_rows, estimate_rows, held_rows
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.words.money import estimated


@pytest.fixture(scope="module")
def watch(tmp_path_factory: pytest.TempPathFactory) -> Reforecast:
    folder = BuildFolder.at(DEMOS / "half-way-new-zealand")
    ledger = Ledger(tmp_path_factory.mktemp("ledger") / "r.db", currency="NZD")
    load_receipts_csv(DEMOS / "half-way-new-zealand" / "receipts.csv", ledger)
    return reforecast(folder.read(), ledger, trials=2048)


def amount(text: str) -> int:
    return int(re.sub(r"[^\d]", "", text)) * (-1 if text.startswith("\u2212") else 1)


@pytest.mark.parametrize("most", [1, 5, 10, 200])
def test_what_p80_holds_for_each_line_adds_up_as_it_is_written(watch: Reforecast, most: int) -> None:
    """The rows were means of lines, and one row, "less can vary now", took most of what P80 itself moved by."""
    *rows, last = held_rows(watch, most)
    for column in (2, 3, 4):
        assert sum(amount(row[column]) for row in rows) == amount(last[column])
    assert all(amount(row[3]) - amount(row[2]) == amount(row[4]) for row in (*rows, last))
    assert last[2:4] == [estimated(one.percentile(0.8), "NZD") for one in (watch.before, watch)]


def test_what_p80_holds_of_a_closed_line_is_what_it_cost(watch: Reforecast) -> None:
    held = {line.id: line for line in watch.held}
    closed = [line for line in watch.lines if line.state == "closed"]
    assert len(closed) > 10
    for line in closed:
        assert held[line.id].now == pytest.approx(line.paid, abs=0.01)
    assert sum(line.now for line in watch.held) == pytest.approx(watch.percentile(0.8).value)
    assert sum(line.before for line in watch.held) == pytest.approx(watch.before.percentile(0.8).value)


def test_what_a_percentile_holds_is_of_normal_lines_as_the_textbook_has_it(tmp_path: Path) -> None:
    """Of independent normal costs E[x | total = P_q] is its mean + z_q · variance / deviation of the total.

    Ours are lognormal and so narrow that they are nearly normal: σ of 0.05 and 0.1 about 1,000.
    """
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0\n'
        + "".join(
            f'[[line]]\nid = "{name}"\ngroup = "other"\n'
            f'amount = {{ shape = "lognormal", median = 1000, sigma = {sigma} }}\n'
            for name, sigma in (("even", 0.05), ("uneven", 0.1))
        )
    )
    found = simulate(build, trials=65536).held_by_line(0.8)
    whole = math.hypot(50, 100)
    for name, sigma in (("even", 50.0), ("uneven", 100.0)):
        thought = 1000 * math.exp((sigma / 1000) ** 2 / 2) + NormalDist().inv_cdf(0.8) * sigma**2 / whole
        assert found[name] == pytest.approx(thought, abs=6)


def test_why_is_said_in_words(watch: Reforecast) -> None:
    why = {row[0]: row[1] for row in held_rows(watch, 200)}
    assert why["A panel must be re-cut or re-moulded"] == "it happened"
    assert why["Damage on the way, not paid in full"] == "it cannot happen any more"
    assert why["Filler and stopper"] == "paid in part"
    assert why["Work done twice"] == "follows from Filler and stopper, Discs and block paper"
    # Both go with a cause of their own too, but of that little was learned: the estimates say more of them.
    causes = {cause.id: abs(cause.mean) for cause in watch.causes}
    assert max(causes["kit_fit"], causes["body_state"]) < 0.5 * causes["own_estimating"]
    for name in ("Epoxy and filler primer", "Zinc primer, seam sealer, cavity wax"):
        assert why[name] == "by how your estimates came in"


@pytest.mark.parametrize(
    ("paid", "said"),
    [
        (
            300,
            [
                "“Filler” and “Discs” came in dear. So “Primer” looks dearer too: “Kit fit” is behind all of them."
            ],
        ),
        (
            40,
            [
                "“Filler” and “Discs” came in cheap. So “Primer” looks cheaper too: “Kit fit” is behind all of them."
            ],
        ),
        (100, []),
    ],
)
def test_a_lesson_names_who_came_in_dear_and_what_follows(
    tmp_path_factory: pytest.TempPathFactory, paid: int, said: list[str]
) -> None:
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
        '[[cause]]\nid = "kit_fit"\nname = "Kit fit"\n'
        + "".join(
            f'[[line]]\nid = "{name.lower()}"\nname = "{name}"\ngroup = "consumables"\n'
            'amount = { low = 70, middle = 100, high = 150, causes = { kit_fit = "strong" } }\n'
            for name in ("Filler", "Discs", "Primer")
        )
    )
    ledger = Ledger(tmp_path_factory.mktemp("ledger") / "r.db", currency="EUR")
    for name in ("filler", "discs"):
        ledger.add_receipt("2026-05-01", "somebody", paid * 100, "EUR", [(name, paid * 100)])
        ledger.close_line(name, "2026-05-01")
    told = lesson_sentences(reforecast(build, ledger, trials=4096))
    assert [one for one in told if "“Kit fit”" in one] == said


def test_money_outside_the_estimate_is_a_reason(tmp_path_factory: pytest.TempPathFactory) -> None:
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "kit"\ngroup = "kit"\namount = 100\n'
    )
    ledger = Ledger(tmp_path_factory.mktemp("ledger") / "r.db", currency="EUR")
    ledger.add_receipt("2026-05-01", "somebody", 4_000, "EUR", [("winch", 4_000)])
    assert held_rows(reforecast(build, ledger, trials=64)) == [
        ["Winch", "taken out of the build", "€0", "€40", "+€40"], ["Kit", "", "€100", "€100", "€0"],
        ["P80", "", "€100", "€140", "+€40"],
    ]  # fmt: skip


def test_causes_and_lines_have_a_row_each(watch: Reforecast) -> None:
    rows = {row[0]: row for row in cause_rows(watch)}
    fit = next(cause for cause in watch.causes if cause.id == "kit_fit")
    assert abs(fit.mean) < 0.25
    assert fit.sd > 0.8
    assert rows["How badly the kit fits"][1] == "as thought, by little so far"
    assert "Your estimates" in rows  # not "Own estimating +0.3 ± 0.8"
    assert not any("±" in row[1] for row in rows.values())
    assert rows["How badly the kit fits"][2].startswith("Filler and stopper")
    lines = {row[0]: row for row in estimate_rows(watch)}
    assert lines["Tyres"][2:4] == ["NZ$1,072", "NZ$1,072"]  # closed: known to the unit
    assert lines["Tyres"][6] == "closed"


def test_a_line_shows_only_what_its_own_figures_go_with(watch: Reforecast) -> None:
    """A customs agent's bill was told as showing how dear body shops are: it loads on no such cause."""
    plan = watch.now.plan
    loads = {
        (plan.causes[place], row.id)
        for row in plan.rows
        for item in plan.inputs
        if item.id in row.inputs
        for place in np.flatnonzero(item.loadings)
    }
    titles, causes = (
        {line.title: line.id for line in watch.lines},
        {cause.title: cause.id for cause in watch.causes},
    )
    rows = [row for row in cause_rows(watch) if row[0] in causes]
    assert len(rows) >= 3
    for title, _, lines in rows:
        shown = [name for name in titles if name in lines]
        assert shown
        assert all((causes[title], titles[name]) in loads for name in shown)
