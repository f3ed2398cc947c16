"""Photos of receipts: a few of those that `python -m tests.benchmarks.photos` counts, and what needs no reading."""

from __future__ import annotations

import io
import math
import os
from pathlib import Path

import pytest
from PIL import Image

from forecast.errors import LedgerError
from forecast.ledger.papers import read as reading
from forecast.ledger.papers.read import (
    HOW_TO_ADD,
    MOST_PIXELS,
    can_read_photos,
    laid_out,
    lines_in_photo,
    read_paper,
)
from tests.ledger.papers.photos import photo, receipt


@pytest.mark.skipif(
    not can_read_photos() and not os.environ.get("CI"), reason="the extra photos is not installed"
)
@pytest.mark.parametrize("number", [1, 3])
def test_a_photo_taken_askew_in_half_shade_is_read(number: int) -> None:
    printed = receipt(number)
    paper = read_paper("till.jpg", photo(number), "EUR", ("USD",))
    found = [part.said if part else "" for part in (paper.amount, paper.day, paper.currency, paper.supplier)]
    assert found == [printed.amount, printed.day, printed.currency, printed.supplier]
    assert paper.kind == "photo"


def test_without_the_extra_one_line_says_how_to_add_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "can_read_photos", lambda: False)
    paper = read_paper("till.jpg", photo(1), "EUR")
    assert paper.remarks == (HOW_TO_ADD,)
    assert paper.missing == ("sum", "day", "supplier")
    assert "extra photos" in HOW_TO_ADD
    assert "photos = [" in (Path(__file__).parents[3] / "pyproject.toml").read_text(encoding="utf-8")


def box(left: float, top: float, wide: float, turn: float) -> list[list[float]]:
    corners = [(left, top), (left + wide, top), (left + wide, top + 20), (left, top + 20)]
    sine, cosine = math.sin(math.radians(turn)), math.cos(math.radians(turn))
    return [[x * cosine - y * sine, x * sine + y * cosine] for x, y in corners]


@pytest.mark.parametrize("turn", [-8, -4, 0, 3, 8])
def test_print_at_one_height_is_one_line_however_the_paper_lies(turn: float) -> None:
    pieces = [
        (box(500, 130, 60, turn), "12.50"), (box(10, 100, 200, turn), "Plainly Invented"),
        (box(215, 102, 90, turn), "Paints"),
        (box(10, 130, 90, turn), "Primer"), (box(10, 162, 100, turn), "TOTAL"), (box(498, 160, 70, turn), "12.50"),
    ]  # fmt: skip
    assert laid_out(pieces) == ["Plainly Invented Paints", "Primer   12.50", "TOTAL   12.50"]


@pytest.mark.parametrize("turn", [-20, 20])
def test_short_words_far_apart_tell_how_the_paper_lies_as_well(turn: float) -> None:
    pieces = [
        (box(10, 100, 40, turn), "Glue"), (box(500, 100, 40, turn), "4.50"),
        (box(10, 128, 40, turn), "Tape"), (box(500, 128, 40, turn), "3.20"),
    ]  # fmt: skip
    assert laid_out(pieces) == ["Glue   4.50", "Tape   3.20"]


def test_no_print_is_no_line() -> None:
    assert laid_out([]) == []


@pytest.mark.parametrize(
    "content", [b"\xff\xd8\xff\xe0 a photo", photo(1)[:3000], b"\x00\x00\x00\x18ftypheic none"]
)
def test_a_damaged_picture_is_told_in_words(content: bytes) -> None:
    with pytest.raises(LedgerError, match=r"till\.jpg: the picture cannot be opened here\. It can be kept"):
        lines_in_photo(content, "till.jpg")


def test_a_picture_of_endless_pixels_is_not_unpacked() -> None:
    whole = io.BytesIO()
    side = math.isqrt(MOST_PIXELS) + 10
    Image.new("1", (side, side)).save(whole, "PNG")
    with pytest.raises(LedgerError, match="too many pixels"):
        lines_in_photo(whole.getvalue(), "till.png")
