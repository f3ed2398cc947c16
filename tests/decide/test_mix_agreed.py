"""A price agreed and the mixes: the best one says when it leaves it, and the way in force stands among them."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.decide.mix import mix
from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.views.mix_words import mix_mark
from forecast.watching.standing import Record

TEXT = """
[build]
name = "Agreed"
currency = "EUR"
country = "IE"
[[line]]
id = "paint_self"
group = "finish"
package = "paint"
route = "self"
amount = { low = 300, middle = 400, high = 700 }
own_hours = 30
[[line]]
id = "paint_shop"
name = "Paint by a shop"
group = "labour"
package = "paint"
route = "shop"
amount = { low = 1300, middle = 1400, high = 1700 }
[[line]]
id = "fit_self"
group = "consumables"
package = "fit"
route = "self"
amount = { low = 50, middle = 60, high = 90 }
own_hours = 10
[[line]]
id = "fit_shop"
group = "labour"
package = "fit"
route = "shop"
amount = { low = 100, middle = 120, high = 150 }
own_hours = 40
[scenario.mixed]
routes = { paint = "shop", fit = "shop" }
[scenario.self]
routes = { paint = "self", fit = "self" }
"""


@pytest.fixture
def folder(tmp_path: Path) -> BuildFolder:
    Path(tmp_path, "build.toml").write_text(TEXT, encoding="utf-8")
    return BuildFolder.at(tmp_path)


def test_the_best_mix_says_that_it_leaves_an_agreed_price_and_which_one_keeps_it(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    where = str(folder.folder)
    assert main(["mix", where]) == 0
    assert "agreed" not in capsys.readouterr().out
    folder.ledger().add_commitment("2026-03-01", "Paint & Sons", "paint_shop", 140_000, "EUR")
    known = Record.read(folder.ledger()).standing()
    found = mix(folder.read(), known=known, trials=1024)
    keeping = [item for item in found.mixes if item.routes["paint"] == "shop"]
    assert found.best == min(keeping, key=lambda item: item.p80)
    assert found.leaving is not None
    assert found.leaving.routes == {"paint": "self", "fit": "self"}
    assert found.leaving.p80 < found.best.p80
    assert (found.leaves, found.keeping) == (("paint_shop",), None)
    assert main(["mix", where]) == 0
    told = capsys.readouterr().out.replace("\u00a0", " ")
    assert "Best of 4 mixes, with what is agreed kept: paint by a shop; the rest by yourself." in told
    assert "Cheaper, with an agreed price left: everything by yourself. It needs " in told
    assert "This mix leaves an agreed price of €1,400.00 with Paint & Sons for “Paint by a shop”." in told


def test_within_limits_that_no_mix_with_what_is_agreed_keeps_the_best_leaves_it(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.ledger().add_commitment("2026-03-01", "Paint & Sons", "paint_shop", 140_000, "EUR")
    known = Record.read(folder.ledger()).standing()
    every = mix(folder.read(), known=known, trials=1024)
    assert every.leaving is not None
    assert every.best is not None
    limit = (every.leaving.p80 + every.best.p80) / 2
    found = mix(folder.read(), known=known, trials=1024, money=limit)
    assert (found.best, found.leaving, found.leaves) == (every.leaving, None, ("paint_shop",))
    assert found.keeping == every.best
    assert main(["mix", str(folder.folder), "--money", f"{limit:.0f}", "--trials", "1024"]) == 0
    told = capsys.readouterr().out.replace("\u00a0", " ")
    assert f"within €{limit:,.0f}: everything by yourself." in told
    assert "Cheapest with what is agreed kept: paint by a shop; the rest by yourself. It needs " in told
    assert " at P80, which is beyond your limits." in told


def test_the_way_in_force_stands_among_the_mixes_though_it_is_beaten(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    found = mix(folder.read(), scenario="mixed", trials=1024)
    assert found.yours is not None
    assert found.yours.routes == {"paint": "shop", "fit": "shop"}
    assert found.yours not in found.frontier
    assert found.yours in found.listed()
    assert main(["mix", str(folder.folder)]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert sum(row.endswith("; your way beside them:") for row in rows) == 1
    assert sum(row.endswith("your way") for row in rows) == 1
    chosen = mix(folder.read(), scenario="self", trials=1024)
    assert chosen.best is not None
    assert chosen.best == chosen.yours
    assert mix_mark(chosen, chosen.best) == "best, your way"
