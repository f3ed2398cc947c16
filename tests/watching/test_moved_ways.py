"""What moved, where something was paid for a way that is not forecast: the same levels as the history, true reasons."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.reader import parse_build
from forecast.ledger import Ledger
from forecast.views.moves import moved_sentence, step_sentences
from forecast.views.watch_words import held_rows
from forecast.watching.history import history
from forecast.watching.moved import Moved, what_moved
from forecast.watching.reforecast import reforecast
from tests.watching.test_known_facts import WAYS

SHIPPING = """
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating = 0.25
estimating_size = 0
[[cause]]
id = "market"
name = "How dear shipping is"
[[line]]
id = "freight"
group = "freight"
amount = { low = 800, middle = 1000, high = 1300, causes = { market = "strong" } }
[[line]]
id = "delivery"
group = "freight"
amount = { low = 40, middle = 50, high = 70, causes = { market = "strong" } }
[[line]]
id = "paint"
group = "finish"
amount = { low = 2000, middle = 4000, high = 9000 }
[[event]]
id = "rust"
chance = 0.3
cost = { low = 100, middle = 300, high = 900 }
[[event]]
id = "late"
chance = 0.3
cost = { low = 100, middle = 300, high = 900 }
"""


def pay(ledger: Ledger, day: str, line: str, minor: int, *, closed: bool = True) -> None:
    ledger.add_receipt(day, "somebody", minor, "EUR", [(line, minor)])
    if closed:
        ledger.close_line(line, day)


def part(moved: Moved, kind: str) -> float:
    return sum(abs(one.change.p80) for one in moved.parts if one.kind == kind)


@pytest.mark.parametrize("since", [dt.date(2026, 3, 31), dt.date(2026, 4, 1)])
def test_moves_begin_where_the_history_stood_also_after_a_bill_of_another_way(
    tmp_path: Path, since: dt.date
) -> None:
    """The bill of a shop, in a build done by oneself, teaches before the move as after it."""
    build, ledger = parse_build(WAYS), Ledger(tmp_path / "r.db", currency="EUR")
    pay(ledger, "2026-03-01", "arch_shop", 2_300_00)
    pay(ledger, "2026-05-01", "kit", 1_010_00)
    told = history(build, ledger, "self", 4096)
    before = next(point for point in reversed(told.points) if point.date <= since)
    moved = what_moved(build, ledger, since, scenario="self", trials=4096)
    assert moved.start.p80 == round(100 * before.p80)
    assert moved.end.p80 == round(100 * told.points[-1].p80)
    assert part(moved, "scope added") == 0  # nothing came since that was not in the estimate


def test_what_was_paid_for_another_way_is_told_as_its_and_apart_from_what_nobody_told_of(
    tmp_path: Path,
) -> None:
    build, ledger = parse_build(WAYS), Ledger(tmp_path / "r.db", currency="EUR")
    pay(ledger, "2026-05-01", "arch_shop", 2_300_00)
    moved = what_moved(build, ledger, dt.date(2026, 4, 30), scenario="self", trials=4096)
    added = next(one for one in moved.parts if one.kind == "scope added")
    title = scenario_title(build, "shop")
    assert added.apart is not None
    assert (added.apart.ids, added.apart.ways) == (("arch_shop",), (title,))
    assert added.apart.change == added.change
    assert added.change.p80 == 2_300_00
    said = moved_sentence(moved)
    assert f"belongs to the way “{title}”, not to this one: +€2,300." in said
    assert "not in the estimate" not in said
    watch = reforecast(build, ledger, "self", 4096)
    assert "belongs to another way" in [row[1] for row in held_rows(watch)]
    ledger.add_receipt("2026-05-02", "somebody", 40_00, "EUR", [("no_line_of_the_build", 40_00)])
    moved = what_moved(build, ledger, dt.date(2026, 4, 30), scenario="self", trials=4096)
    added = next(one for one in moved.parts if one.kind == "scope added")
    assert added.apart is not None
    assert (added.change.p80, added.apart.change.p80) == (2_340_00, 2_300_00)
    said = moved_sentence(moved)
    assert "was not in the estimate: +€40." in said
    assert f"belongs to the way “{title}”, not to this one: +€2,300." in said


def test_the_cause_named_is_the_one_that_moves_what_is_still_open(tmp_path: Path) -> None:
    """Freight says most of shipping, of which only a delivery of 50 is still to come; paint hears of the estimates."""
    build, ledger = parse_build(SHIPPING), Ledger(tmp_path / "r.db", currency="EUR")
    pay(ledger, "2026-05-01", "freight", 1_600_00)
    moved = what_moved(build, ledger, trials=4096)
    learning = next(one for one in moved.parts if one.kind == "learning")
    assert learning.because[0][0] == "own_estimating"
    assert any("your estimates so far came in low" in said.lower() for said in step_sentences(moved))


def test_what_happened_before_is_not_said_to_be_impossible(tmp_path: Path) -> None:
    build, ledger = parse_build(SHIPPING), Ledger(tmp_path / "r.db", currency="EUR")
    pay(ledger, "2026-05-01", "rust", 640_00, closed=False)
    ledger.close_line("rust", "2026-05-01")
    ledger.mark_event("rust", "happened", "2026-05-03")
    ledger.mark_event("late", "cannot-happen", "2026-05-03")
    moved = what_moved(build, ledger, dt.date(2026, 5, 2), trials=4096)
    events = next(one for one in moved.parts if one.kind == "events")
    assert [name for name, _ in events.because] == ["late"]
