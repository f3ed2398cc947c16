"""Money in every currency that Babel lists: what is entered is what is stored, shown, written out and read back."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.numbers import get_currency_precision, list_currencies

from forecast.dashboard import receipts_list
from forecast.ledger.folder import BuildFolder
from forecast.ledger.receipts_csv import load_receipts_csv, receipts_csv
from forecast.views import cli
from forecast.words.currencies import minor_digits
from tests.dashboard.conftest import Run
from tests.dashboard.test_receipt_entry import fill, save
from tests.dashboard.test_receipt_list import by_day, html

CODES = [code for code in sorted(list_currencies()) if code != "EUR"]
TOLD_APART = [code for code in CODES if minor_digits(code) != 2 or get_currency_precision(code) != 2]
"""Those in which a hundred is not the factor, or in which ISO 4217 and what people use differ."""

BUILD = """\
[build]
name = "Test coupe"
currency = "{code}"
country = "HU"

[[line]]
id = "kit"
group = "kit"
amount = 610000
"""


@pytest.fixture
def quick() -> Iterator[Path]:
    """Give a folder in memory where there is one."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as name:
        yield Path(name)


def coins(place: int, code: str) -> str:
    """Give another sum for each currency, with one coin of its smallest."""
    digits = minor_digits(code)
    return f"{610_000 + place}." + "1".rjust(digits, "0") if digits else f"{610_000 + place}"


def test_a_sum_in_every_currency_is_stored_shown_written_out_and_read_back(
    quick: Path, capsys: pytest.CaptureFixture[str], run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    (quick / "build.toml").write_text(BUILD.format(code="EUR"), encoding="utf-8")
    rows = [
        f"2026-05-03,r{place},payment,Shop {code},{coins(place, code)},{code},kit,9,EUR"
        for place, code in enumerate(CODES)
    ]
    heading = "date,receipt,kind,supplier,amount,currency,line,charged,charged_currency"
    (quick / "in.csv").write_text("\n".join([heading, *rows]), encoding="utf-8")
    folder = BuildFolder.at(quick)
    load_receipts_csv(quick / "in.csv", folder.ledger())
    for place, receipt in enumerate(folder.ledger().list_receipts()):
        digits = minor_digits(receipt.currency)
        assert receipt.amount_minor == (610_000 + place) * 10**digits + (digits > 0)
    written = {
        row["currency"]: row["amount"] for row in csv.DictReader(io.StringIO(receipts_csv(folder.ledger())))
    }
    assert written == {code: coins(place, code) for place, code in enumerate(CODES)}

    assert cli.main(["receipts", str(quick)]) == 0
    out = capsys.readouterr().out
    terminal = {line.partition(" Shop ")[2][:3]: line for line in out.splitlines() if " Shop " in line}
    monkeypatch.setattr(receipts_list, "MOST", 1000)
    page = html(by_day(run(folder.build_file, "receipts"))).split("<tr")
    for place, code in enumerate(CODES):
        sum_ = f"{610_000 + place:,}{coins(place, code)[6:]}"
        (row,) = (row for row in page if f">Shop {code}<" in row)
        for shown in (row, terminal[code]):
            assert sum_ in shown, shown
            assert f"0{sum_}" not in shown
            assert f"{sum_}0" not in shown


def test_a_build_in_a_currency_that_tables_tell_apart_counts_in_one_unit(
    quick: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert {"HUF", "IDR", "COP", "IQD"} < set(TOLD_APART)
    for code in TOLD_APART:
        home = quick / code
        home.mkdir()
        (home / "build.toml").write_text(BUILD.format(code=code), encoding="utf-8")
        entered = ["receipt", "add", str(home), "--amount", "610000", "--supplier", "X", "--line", "kit"]
        assert cli.main(entered) == 0, code
        said = capsys.readouterr().out
        assert "610,000" in said, said
        assert "610,000,0" not in said, said
        (receipt,) = BuildFolder.at(home).ledger().list_receipts()
        assert receipt.amount_minor == 610_000 * 10 ** minor_digits(code)


@pytest.mark.parametrize(("code", "said"), [("HUF", "HUF 610,000"), ("KWD", "KWD 610,000.000")])
def test_the_form_takes_the_sum_that_is_typed(tmp_path: Path, run: Run, code: str, said: str) -> None:
    (tmp_path / "build.toml").write_text(BUILD.format(code=code), encoding="utf-8")
    app = by_day(save(fill(run(tmp_path / "build.toml", "receipts"), ["kit"], "A shop", "610000")))
    assert f"<td>{said}<" in html(app).replace(' class="fc-money"', "")
    (receipt,) = BuildFolder.at(tmp_path).ledger().list_receipts()
    assert receipt.amount_minor == 610_000 * 10 ** minor_digits(code)
