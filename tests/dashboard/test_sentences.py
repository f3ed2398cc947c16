"""How pages talk: no sentence over 25 words, three folds at most, P50 and P90 by name beside money spent."""

from __future__ import annotations

import html
import re

import pytest
from streamlit.testing.v1 import AppTest

from forecast.buildfile.cautions import load_cautions
from forecast.ledger.folder import BuildFolder
from tests.dashboard.conftest import PAGES, Run, words

MOST_WORDS = 25
MOST_FOLDS = 3
EVERY_PAGE = ("start", *PAGES)
FEW_FOLDS = tuple(page for page in EVERY_PAGE if page != "receipts")
"""The page of receipts has a form for each kind of entry, folded away until there is something of that kind."""

EXCEPTIONS = {
    "Entered last:": "names all that one undo takes back",
}
"""Sentences that may be longer, by how they begin, each with its reason."""
CAUTIONS = " ".join(caution.text for caution in load_cautions())
"""Longer ones are left: what harms and what to do about it stand in one sentence, folded away beside the line."""


@pytest.fixture
def six_receipts(before_ordering: BuildFolder) -> BuildFolder:
    """Give the demo before ordering with its first six receipts: some lines closed, some part paid."""
    ledger = before_ordering.ledger()
    for day, line, minor, all_of_it in (
        ("2026-09-03", "kit_panels", 141_020, True), ("2026-09-03", "crate", 16_000, True),
        ("2026-09-28", "sea_freight", 64_050, True), ("2026-09-28", "transit_insurance", 8_800, False),
        ("2026-10-20", "filler", 21_075, False), ("2026-11-02", "garage_tools", 19_000, False),
    ):  # fmt: skip
        ledger.add_receipt(day, "a shop", minor, "EUR", [(line, minor)])
        if all_of_it:
            ledger.close_line(line, day)
    return before_ordering


def texts(app: AppTest) -> list[str]:
    """Give every text that a page shows: paragraphs, captions, what tables say in each cell, and labels."""
    found = [
        item.value for item in (*app.main.markdown, *app.main.caption, *app.info, *app.success, *app.warning)
    ]
    found += [item.value for item in (*app.error, *app.subheader)]
    for item in app.main.get("html"):
        body = re.sub(r"<style>.*?</style>", "", item.proto.body, flags=re.DOTALL)
        found += [html.unescape(part) for part in re.split(r"<[^>]*>", body)]
    found += [
        item.label for item in (*app.main.button, *app.main.expander, *app.main.tabs, *app.main.selectbox)
    ]
    return [line for text in found for line in text.splitlines()]


def sentences(text: str) -> list[str]:
    """Give the sentences of a text: one ends at a full stop, and a new one begins with a capital or a figure."""
    plain = re.sub(r"\\(?=\W)|\*\*|^\s*(?:-|\d+[.)])\s", "", text)
    return re.split(r"(?<=[.!?])\s+(?=[A-Z0-9\u201c\u20ac*])", plain)


def words_in(sentence: str) -> int:
    return sum(bool(re.search(r"\w", part)) for part in sentence.split())


def test_sentences_are_told_apart_and_their_words_counted() -> None:
    found = sentences("1. Hold **\u20ac14,290**: in 80 of 100 builds it costs no more. Adding up e.g. more.")
    assert [words_in(one) for one in found] == [11, 4]


@pytest.mark.parametrize("page", EVERY_PAGE)
@pytest.mark.parametrize("demo", ["before_ordering", "half_way", "six_receipts"])
def test_no_sentence_is_longer_than_can_be_read_at_once(
    run: Run, demo: str, page: str, request: pytest.FixtureRequest
) -> None:
    folder: BuildFolder = request.getfixturevalue(demo)
    app = run(folder.build_file, page)
    every = [sentence for text in texts(app) for sentence in sentences(text)]
    long = {
        f"{words_in(sentence)}: {sentence}"
        for sentence in every
        if words_in(sentence) > MOST_WORDS
        and sentence not in CAUTIONS
        and not any(sentence.startswith(begin) for begin in EXCEPTIONS)
    }
    assert len(every) > 5
    assert sorted(long) == []


@pytest.mark.parametrize("page", FEW_FOLDS)
@pytest.mark.parametrize("demo", ["before_ordering", "half_way", "six_receipts"])
def test_a_page_has_three_folds_at_most(
    run: Run, demo: str, page: str, request: pytest.FixtureRequest
) -> None:
    folder: BuildFolder = request.getfixturevalue(demo)
    labels = [item.label for item in run(folder.build_file, page).main.expander]
    assert len(labels) <= MOST_FOLDS, labels


@pytest.mark.parametrize("page", PAGES)
def test_where_money_spent_is_shown_p50_and_p90_stand_by_name(
    run: Run, half_way: BuildFolder, page: str
) -> None:
    told = " ".join(texts(run(half_way.build_file, page)))
    if re.search(r"[\d.]+ paid|Paid so far|is paid", told.replace("*", "")):
        assert "P50" in told
        assert "P90" in told


def test_the_first_pages_explain_their_own_words_where_they_first_stand(
    run: Run, before_ordering: BuildFolder
) -> None:
    """Each once: to hold, a middle figure, the contingency, a firm figure; P80 has its meaning beside it."""

    def told(page: str) -> str:
        app = run(before_ordering.build_file, page)
        tables = " ".join(item.proto.body for item in app.main.get("html"))
        return " ".join([words(app), *(item.value for item in app.caption), tables]).replace("\\", "")

    opening, cost = told("stand"), told("cost")
    for text, explained in (
        (opening, "To hold is to have in the bank before you order."),
        (opening, "The middle figure of a line is as often too low as too high."),
        (cost, "the contingency is what each has over the middle figures</caption>"),
        (cost, "once a figure is firm: quoted, measured or decided."),
    ):
        assert text.count(explained) == 1
    assert re.search("P80</th><td[^>]*>[^<]*</td><td>in 80 of 100 builds it costs no more", opening)


MEANT = re.compile(r"80 of 100|80\u00a0of\u00a0100")


@pytest.mark.parametrize("demo", ["before_ordering", "half_way"])
@pytest.mark.parametrize("page", PAGES)
def test_p80_has_its_meaning_where_it_first_stands(
    run: Run, request: pytest.FixtureRequest, demo: str, page: str
) -> None:
    """In the same sentence, the one before or the one after: also in tables, captions and titles of charts."""
    app = run(request.getfixturevalue(demo).build_file, page)
    told = []
    for item in app.main:
        if item.type in ("markdown", "caption", "success"):
            told.append(item.value)
        elif item.type == "html":
            told.append(re.sub(r"<style>.*?</style>|<[^>]*>", " ", item.proto.body, flags=re.DOTALL))
    text = " ".join(told)
    first = text.find("P80")
    if first >= 0:
        assert MEANT.search(text[max(0, first - 130) : first + 130]), text[max(0, first - 130) : first + 130]
