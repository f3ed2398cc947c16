"""Contingency in words and in columns that add up as they are written."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.ledger import Ledger
from forecast.views.settling_words import PERHAPS_ALL, state_words
from forecast.views.stands import short_sentence
from forecast.views.watch_words import (
    bought_sentence,
    columns,
    contingency_sentence,
    further,
    line_figures,
    overrun_sentence,
    trials_sentence,
)
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.words.money import as_written, builds, error_of, signed
from tests.views.saying import why_it_moved

TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
{}
[[line]]
id = "kit"
group = "kit"
amount = {{ low = 800, middle = 1004, high = 1500 }}
[[line]]
id = "filler"
group = "consumables"
amount = {{ low = 300, middle = 604, high = 900 }}
"""


def watch(tmp_path: Path, budget: int | None, paid: int = 90_400) -> Reforecast:
    build: Build = parse_build(TEXT.format("" if budget is None else f"budget = {budget}"))
    ledger = Ledger(tmp_path / f"{budget}-{paid}.db", currency="EUR")
    ledger.add_receipt("2026-05-02", "somebody", paid, "EUR", [("kit", paid)])
    ledger.close_line("kit", "2026-05-02")
    return reforecast(build, ledger, trials=2048)


@pytest.mark.parametrize("budget", [1_000, 1_555, 5_000, None])
def test_the_parts_of_each_column_add_up_as_they_are_written(tmp_path: Path, budget: int | None) -> None:
    found = columns(watch(tmp_path, budget))
    names = [column.name for column in found]
    assert names == (["P80", "P90"] if budget is None else ["Your budget", "P80", "P90"])
    for column in found:
        assert column.paid == 904
        assert column.still_open == 606  # 904 + 604 is 1508: 1510 less 904
        assert column.paid + column.still_open + column.contingency == column.total


def test_what_is_missing_is_the_difference_of_what_is_left_and_needed(tmp_path: Path) -> None:
    one = watch(tmp_path, 1_600)
    budget, eight, nine = columns(one)
    text = contingency_sentence(one)
    assert text.startswith("€90 of contingency is left; to be enough in 80 of 100 builds (P80) it takes €")
    assert f"€{eight.contingency - budget.contingency:,.0f} is missing for P80" in text
    assert text.endswith(f", €{nine.contingency - budget.contingency:,.0f} for P90.")


def test_other_standings_of_the_budget(tmp_path: Path) -> None:
    assert "That is enough for both." in contingency_sentence(watch(tmp_path, 9_000))
    assert contingency_sentence(watch(tmp_path, 1_400)).startswith(
        "No contingency is left: the middle figures alone are €110 over your budget;"
    )
    none = watch(tmp_path, None)
    assert contingency_sentence(none).startswith("Beyond what is paid and the middle figures")
    assert (overrun_sentence(none), bought_sentence(none)) == ("", "")
    assert overrun_sentence(watch(tmp_path, 90_000)) == ""


def test_what_a_further_sum_buys_and_how_sure_the_figures_are(tmp_path: Path) -> None:
    one = watch(tmp_path, 1_600)
    assert further(one) == (100, 500, 1_000, 2_000, 5_000)
    told = bought_sentence(one)
    found = re.fullmatch(
        r"With €([\d,]+) more in the budget, (\d+) of 100 builds fewer would overrun it\.", told
    )
    assert found is not None
    sums = {f"{more:,.0f}": one.bought_by(more) for more in further(one)}
    least = next(name for name, bought in sums.items() if bought is not None and bought.value >= 0.005)
    assert found[1] == least
    assert int(found[2]) == round(100 * sums[least].value)  # type: ignore[union-attr]
    over = one.median_overrun
    assert over is not None
    assert f"(simulation error {error_of(over.error, 'EUR')})" in overrun_sentence(one)
    assert trials_sentence(one).startswith("2,048 simulated builds, seed 1; simulation error of P80 ")
    assert "sample size" not in trials_sentence(one)


def test_what_is_likely_all_stands_to_the_cent_and_a_first_part_is_a_part(tmp_path: Path) -> None:
    build: Build = parse_build(TEXT.format(""))
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    ledger.add_receipt("2026-05-02", "somebody", 1_003_37, "EUR", [("kit", 1_003_37)])
    ledger.add_receipt("2026-05-03", "somebody", 61_20, "EUR", [("filler", 61_20)])
    kit, filler = reforecast(build, ledger, trials=4096).lines
    assert kit.looks_settled
    assert line_figures(kit, "EUR")[1:3] == ("€1,003.37", "€1,003.37")
    assert line_figures(kit, "EUR")[3] == "€1,003.37"  # rounded it was €1,000, below what is paid
    assert filler.settled is not None
    assert 0 < filler.settled < PERHAPS_ALL
    assert state_words(filler) == "part paid"
    estimate, paid, now, reach, off = line_figures(filler, "EUR")
    assert (estimate, paid) == ("€600", "€61.20")
    assert now != paid
    assert " to " in reach
    assert off == signed(as_written(filler.now[1], "EUR") - 600, "EUR")


def test_what_may_not_be_needed_is_held_against_its_own_estimate_once_it_is(tmp_path: Path) -> None:
    lamps = '[[line]]\nid = "lamps"\ngroup = "other"\nchance = 0.8\namount = { low = 40, middle = 150, high = 700 }\n'
    rust = '[[event]]\nid = "rust"\nchance = 0.3\ncost = { low = 200, middle = 400, high = 900 }\n'
    build: Build = parse_build(TEXT.format("") + lamps + rust)
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    before = {line.id: line_figures(line, "EUR") for line in reforecast(build, ledger, trials=1024).lines}
    assert (before["lamps"][0], before["lamps"][4]) == ("€150 if needed", "")
    assert (before["rust"][0], before["rust"][4]) == ("€400 if it happens", "")
    ledger.add_receipt("2026-05-02", "somebody", 155_00, "EUR", [("lamps", 155_00)])
    ledger.close_line("lamps", "2026-05-02")
    ledger.mark_event("rust", "happened", "2026-05-03")
    after = {line.id: line for line in reforecast(build, ledger, trials=4096).lines}
    assert line_figures(after["lamps"], "EUR")[:3] == ("€150", "€155", "€155")
    estimate, _, _, _, off = line_figures(after["rust"], "EUR")
    assert estimate == "€400"
    assert off == signed(as_written(after["rust"].now[1], "EUR") - 400, "EUR")
    assert after["lamps"].base == after["rust"].base == 0  # of the base they are no part


def entry(tmp_path: Path, others: str, paid: int) -> tuple[str, float]:
    """Pay for the kit and say that it is all: what the page says of it, and how far P80 moved as it is written."""
    text = TEXT.format("estimating = 0.25\nestimating_size = 0") + others
    build: Build = parse_build(text)
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    earlier = reforecast(build, ledger, trials=4096)
    ledger.add_receipt("2026-05-02", "somebody", paid, "EUR", [("kit", paid)])
    ledger.close_line("kit", "2026-05-02")
    now = reforecast(build, ledger, trials=4096)
    levels = [as_written(one.percentile(0.8).value, "EUR") for one in (earlier, now)]
    change = levels[1] - levels[0]
    sentence = why_it_moved(earlier, now, change)
    assert why_it_moved(None, now, change) == sentence  # nothing was entered before
    return sentence, change


def lines(count: int, high: int) -> str:
    return "".join(
        f'[[line]]\nid = "other{place}"\ngroup = "other"\namount = {{ low = 300, middle = 604, high = {high} }}\n'
        for place in range(count)
    )


@pytest.mark.parametrize(
    ("others", "paid", "said"),
    [
        (lines(8, 1200), 400_000,
         r"“Kit” came in €2,996 over its middle estimate, rounded: \+€3,000\. Your estimates so far "
         r"came in low, so the open ones are raised: \+€[0-9,]+\."
         r"( (It can come no dearer|(More|Less) can vary) now: [+−]€[0-9,]+\.)?"),
        (lines(8, 6000), 101_400, r"“Kit” came in over its middle estimate: \+€10\. It can come no dearer now: "
                                  r"−€[0-9,]+\."),
        ("", 100_400, r"“Kit” came in at its middle estimate\. It can come no dearer now: −€[0-9,]+\."),
        ("", 111_400, r"“Kit” came in over its middle estimate: \+€110\. (Your estimates so far came in low, so the "
             r"open ones are raised: \+€[0-9,]+\. )?It can come no dearer now: −€[0-9,]+\."),
    ],
)  # fmt: skip
def test_an_entry_is_held_against_its_estimate_and_the_parts_are_the_one_total(
    tmp_path: Path, others: str, paid: int, said: str
) -> None:
    """A line €110 over its estimate was told as −€110, beside a total of the mean that stood nowhere else."""
    sentence, change = entry(tmp_path, others, paid)
    assert re.fullmatch(said, sentence), sentence
    parts = [
        (1 if sign == "+" else -1) * float(amount.replace(",", ""))
        for sign, amount in re.findall(r": ([+−])€([0-9,]+)\.", sentence)
    ]
    assert sum(parts) == change


def test_one_cheap_line_after_a_dear_one_makes_estimates_look_less_low_not_high(tmp_path: Path) -> None:
    """After a kit at four times its middle it was said that "your estimates so far came in high"."""
    build: Build = parse_build(TEXT.format("estimating = 0.25\nestimating_size = 0") + lines(8, 1200))
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    told = []
    for line, paid in (("kit", 400_000), ("other0", 40_000)):
        earlier = reforecast(build, ledger, trials=4096)
        ledger.add_receipt("2026-05-02", "somebody", paid, "EUR", [(line, paid)])
        ledger.close_line(line, "2026-05-02")
        now = reforecast(build, ledger, trials=4096)
        levels = [as_written(one.percentile(0.8).value, "EUR") for one in (earlier, now)]
        told.append(why_it_moved(earlier, now, levels[1] - levels[0]))
    assert "Your estimates so far came in low, so the open ones are raised: +" in told[0]
    assert "Your estimates look less low than before, so the open ones are lowered: −" in told[1]


def test_each_kind_of_entry_is_named(tmp_path: Path) -> None:
    lamps = '[[line]]\nid = "lamps"\ngroup = "other"\nchance = 0.3\namount = { low = 40, middle = 150, high = 700 }\n'
    skip = '[[line]]\nid = "skip"\ngroup = "other"\namount = 0\n'
    rust = '[[event]]\nid = "rust"\nchance = 0.3\ncost = { low = 200, middle = 400, high = 900 }\n'
    build: Build = parse_build(TEXT.format("") + lamps + skip + rust)
    ledger = Ledger(tmp_path / "r.db", currency="EUR")

    def after(entry: Callable[[], object]) -> str:
        earlier = reforecast(build, ledger, trials=4096)
        entry()
        now = reforecast(build, ledger, trials=4096)
        levels = [as_written(one.percentile(0.8).value, "EUR") for one in (earlier, now)]
        return why_it_moved(earlier, now, levels[1] - levels[0])

    def pay(name: str, minor: int) -> None:
        ledger.add_receipt("2026-05-02", "somebody", minor, "EUR", [(name, minor)])
        ledger.close_line(name, "2026-05-02")

    assert after(lambda: pay("lamps", 160_00)).startswith(
        "“Lamps” was needed, and came in €10 over its middle estimate: +€160. It can come no dearer now: −€"
    )
    for minor in (
        80_00,
        85_00,
        84_00,
        87_50,
    ):  # once told as +€80 and +€10 that "can vary", beside +€90 for P80
        assert after(lambda minor=minor: pay("skip", minor)) == "“Skip” was not foreseen."  # type: ignore[misc]
    assert after(lambda: ledger.mark_event("rust", "happened", "2026-05-03")).startswith("“Rust” happened")
    agreed = after(lambda: ledger.add_commitment("2026-05-04", "shop", "filler", 700_00, "EUR"))
    assert agreed.startswith(
        "The price agreed for “Filler” is €96 over its middle estimate, rounded: +€100. "
    )
    assert "It can hardly come dearer now: −€" in agreed


def test_a_budget_that_is_rarely_enough_is_said(tmp_path: Path) -> None:
    short = watch(tmp_path, 1_300)
    chance = short.chance_of_overrun
    assert chance is not None
    assert chance.value > 0.5
    over = as_written(short.percentile(0.8).value, "EUR", short.percentile(0.8).error) - 1_300
    assert short_sentence(short, 1_300) == (
        f"Your budget is short: it is enough in {builds(1 - chance.value)}, and P80 is €{over:,.0f} over it."
    )
    assert short_sentence(watch(tmp_path, 5_000), 5_000) == ""
    assert short_sentence(watch(tmp_path, None), None) == ""
