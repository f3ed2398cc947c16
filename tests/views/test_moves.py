"""A move in words: what it says of each part, and figures that add up as they are written."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from forecast.buildfile.schema import OWN_ESTIMATING
from forecast.decide.contingency import ENOUGH_CLOSED
from forecast.views.moves import moved_headline, moved_sentence, start_words, step_sentences, written
from forecast.watching.behind_moves import OWN_RANGES
from forecast.watching.moved import ORDER, Apart, Figures, Moved, MovedPart, PartKind


def part(kind: PartKind, mean: int, p80: int, *pushes: tuple[str, float]) -> MovedPart:
    names = tuple((name.lower(), name) for name, _ in pushes)
    return MovedPart(kind, Figures(mean, mean, p80, p80), names, tuple(push for _, push in pushes))


def moved(*parts: MovedPart, until: date | None = None, error: float = 0.0) -> Moved:
    start = Figures(900_400, 900_400, 1_000_400, 1_000_400)
    end = start
    for one in parts:
        end = end + one.change
    return Moved(date(2026, 5, 3), until, "EUR", start, end, parts, error)


def ranges(p80: int, wider: float, *pushes: tuple[str, float]) -> MovedPart:
    """Give a part that the width of own ranges leads, before what shared causes push."""
    rest = part("learning", p80, p80, *pushes)
    because = ((OWN_RANGES, "How your ranges held"), *rest.because)
    return MovedPart("learning", rest.change, because, (wider, *rest.pushes), closed=ENOUGH_CLOSED)


def priced(mean: int, p80: int, *pushes: tuple[str, float]) -> MovedPart:
    """Give a part of receipts whose lines are all paid up, so far off their estimates."""
    over = round(sum(push for _, push in pushes))
    return replace(part("receipts", mean, p80, *pushes), settled=len(pushes), over=over)


def apart(one: MovedPart, change: int, over: int) -> MovedPart:
    """Tell the first of what is behind a part apart from the rest."""
    return replace(one, apart=Apart((one.because[0][0],), Figures(change, change, change, change), over))


def ways(*names: str, of: MovedPart) -> MovedPart:
    paid = round(of.pushes[0])
    return replace(of, apart=Apart((of.because[0][0],), Figures(paid, paid, paid, paid), ways=names))


def test_dear_receipts_and_what_follows_from_them() -> None:
    text = moved_sentence(
        moved(
            part("receipts", 20_000, 18_000, ("Filler", 15_000), ("Primer", 6_000), ("Discs", -1_000)),
            part("learning", 9_000, 13_000, ("Kit fit", 0.9), ("Own estimating", -0.2)),
        )
    )
    assert text == (
        "P80 rose by €310 since 3 May 2026. Filler and Primer came in dear: +€180. “Kit fit” looks dearer, and raises "
        "what is still open: +€130."
    )


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (part("receipts", -20_000, -22_000, ("Kit", -20_000)), "Kit came in cheap: −€220"),
        (
            priced(5_000, -22_000, ("Kit", 5_000)),
            "Kit, settled €50 over its estimate, can come no dearer: −€220",
        ),
        (priced(-900, -22_000, ("Kit", -900)), "Kit is settled, €9 under its estimate: −€220"),
        (priced(100, -22_000, ("Kit", 100)), "Kit is settled, €1 over its estimate: −€220"),
        (
            priced(15_000, -4_000, ("Freight", 19_000), ("Kit", -500)),
            "2 lines settled €185 over their estimates can come no dearer: −€40",
        ),
        (
            replace(priced(-500, -4_000, ("Freight", 900), ("Kit", -5_500)), agreed=1),
            "2 lines are paid or agreed, €46 under their estimates in all: −€40",
        ),
        (
            replace(priced(15_000, -4_000, ("Freight", 19_000), ("Kit", -500)), likely=1),
            "2 lines settled (1 likely) €185 over their estimates can come no dearer: −€40",
        ),
        (
            replace(priced(5_000, -22_000, ("Kit", 5_000)), likely=1),
            "Kit, likely settled €50 over its estimate, can come no dearer: −€220",
        ),
        (
            priced(9_000, 7_000, ("Paint", 26_000), ("Kit", 6_000)),
            "2 lines settled €320 over their estimates, in part allowed for: +€70",
        ),
        (priced(26_000, 24_000, ("Paint", 26_000)), "Paint came in dear: +€240"),
        (part("receipts", 500, -4_000, ("Filler", 0), ("Kit", 0)), "Filler and Kit can vary less now: −€40"),
        (part("learning", 400, 5_000, ("Own estimating", 0.2)), "What is still open varies more now: +€50"),
        (part("receipts", 5_000, 9_000, ("Kit", 0)), "Kit is paid at least in part: +€90"),
        (part("currency", 5_000, 5_000, ("USD", 5_000)), "USD came dearer than the rate planned: +€50"),
        (part("currency", -5_000, -5_000, ("USD", -5_000)), "USD came cheaper than the rate planned: −€50"),
        (
            replace(part("currency", -5_000, -5_000, ("USD", -5_000)), with_margin=True),
            "USD came cheaper than planned, card's margin in both: −€50",
        ),
        (
            part("learning", -5_000, -5_000, ("Kit fit", -0.5)),
            "“Kit fit” looks cheaper, and lowers what is still open: −€50",
        ),
        (part("learning", 5_000, 5_000), "The open ranges count wider: +€50"),
        (part("learning", -5_000, -5_000), "The open ranges count narrower: −€50"),
        (part("learning", 1_000, -5_000, ("Kit fit", 0.5)), "What is still open varies less now: −€50"),
        (part("learning", 1_000, 5_000, ("Kit fit", -0.5)), "What is still open varies more now: +€50"),
        (
            replace(ranges(-5_000, -0.3), closed=3),
            "Judged by only 3 closed lines with a range, open ranges count narrower: −€50",
        ),
        (
            replace(ranges(5_000, 0.3), closed=1),
            "Judged by only 1 closed line with a range, open ranges count wider: +€50",
        ),
        (ranges(5_000, 0.3), "Your ranges proved too narrow, so the open ones count wider: +€50"),
        (ranges(-5_000, -0.3), "Your ranges proved wide enough, so the open ones count narrower: −€50"),
        (
            ranges(5_000, -0.3, ("Kit fit", 0.5)),
            "“Kit fit” looks dearer, and raises what is still open: +€50",
        ),
        (ranges(-5_000, 0.3, ("Kit fit", 0.5)), "What is still open varies less now: −€50"),
        (apart(part("events", 5_000, 5_000, ("Damage", 9_000)), 5_000, 1_000), "Damage happened: +€50"),
        (
            apart(part("events", -5_000, -5_000, ("Damage", -9_000)), -5_000, -9_000),
            "Damage cost less than thought: −€50",
        ),
        (
            apart(part("events", -5_000, -5_000, ("Damage", 9_000)), -5_000, 70_000),
            "Damage happened, yet less can vary: −€50",
        ),
        (
            apart(part("events", -5_000, -5_000, ("Damage", 9_000), ("Rust", 0)), 4_000, 1_000),
            "Rust cannot happen any more: −€90. Damage happened: +€40",
        ),
        (
            apart(part("receipts", -4_000, -4_000, ("Old bumper", -32_000)), -4_000, -32_000),
            "Old bumper brought in €320 more than thought: −€40",
        ),
        (
            apart(part("receipts", -4_000, -4_000, ("Old bumper", 8_000)), -4_000, 8_000),
            "Old bumper brought in €80 less than thought, yet less can vary: −€40",
        ),
        (
            apart(part("receipts", 4_000, 4_000, ("Old bumper", -8_000)), 4_000, -8_000),
            "Old bumper brought in €80 more than thought, and that is all: +€40",
        ),
        (
            apart(
                part("receipts", 6_000, 6_000, ("Old bumper", -32_000), ("Filler", 9_000)), -4_000, -32_000
            ),
            "Filler came in dear: +€100. Old bumper brought in €320 more than thought: −€40",
        ),
        (part("events", -5_000, -5_000, ("Damage", 0)), "Damage cannot happen any more: −€50"),
        (part("scope dropped", -5_000, -5_000, ("Vents", -5_000)), "Vents is not needed: −€50"),
        (part("estimates", 5_000, 5_000, ("Kit", 5_000)), "New ranges for Kit: +€50"),
        (part("estimates", 5_000, 5_000), "The build file was changed: +€50"),
        (
            part("scope added", 9_000, 9_000, ("Winch", 5_000), ("Bar", 4_000)),
            "Winch and Bar were not in the estimate: +€90",
        ),
        (
            ways("A shop", of=part("scope added", 9_000, 9_000, ("Spray", 9_000))),
            "Spray belongs to the way “A shop”, not to this one: +€90",
        ),
        (
            ways(
                "A shop", "Mixed", of=part("scope added", 9_000, 9_000, ("Spray", 8_000), ("Arches", 1_000))
            ),
            "Arches was not in the estimate: +€10. Spray belongs to other ways, not to this one: +€80",
        ),
    ],
)
def test_each_part_in_words(one: MovedPart, said: str) -> None:
    assert moved_sentence(moved(one)).endswith(f" since 3 May 2026. {said}.")


def test_nothing_moved() -> None:
    assert moved_sentence(moved(part("receipts", 0, 100))) == "P80 did not move since 3 May 2026."
    assert moved_sentence(moved(until=date(2026, 6, 1))) == (
        "P80 did not move between 3 May 2026 and 1 June 2026."
    )


def test_where_the_middle_goes_the_other_way_the_headline_tells_both() -> None:
    """A fall of P80 alone would read as good news, though half of the builds now cost more than thought."""
    both = moved(part("receipts", 126_000, -9_000, ("Port", 41_000)))
    assert moved_headline(both) == "P80 fell by €90, while P50 rose by €1,260, since 3 May 2026."
    assert moved_headline(moved(part("receipts", 126_000, 9_000))) == "P80 rose by €90 since 3 May 2026."
    middle_alone = moved(part("receipts", 126_000, 0))
    assert moved_headline(middle_alone) == "P80 did not move, while P50 rose by €1,260, since 3 May 2026."


@pytest.mark.parametrize("error", [0.0, 120.0])
def test_start_and_steps_add_up_to_the_end_as_they_are_written(error: float) -> None:
    """Each part is under half a step, all of them together are not: no part is lost by rounding."""
    one = moved(*(part(kind, 499, 499, ("x", 1.0)) for kind in ORDER), error=error)
    found = written(one)
    assert found.start_p80 + sum(step.p80 for step in found.steps) == found.end_p80
    assert found.start_half + sum(step.half for step in found.steps) == found.end_half
    assert found.end_p80 == pytest.approx(one.end.p80 / 100, abs=5 if not error else 50)
    amounts = re.findall(r": ([+−]€[\d,]+)\.", moved_sentence(one))
    assert len(amounts) == sum(bool(step.p80) for step in found.steps)
    assert sum(int(re.sub(r"[^\d]", "", text)) for text in amounts) == found.change


@pytest.mark.parametrize("kind", ORDER)
@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("cause", ["kit fit", OWN_RANGES, OWN_ESTIMATING])
def test_a_step_is_a_sentence_of_at_most_fifteen_words(kind: PartKind, side: int, cause: str) -> None:
    """However long the names, and however many of them; the sum is one of the words."""
    names = tuple((cause, f"{number} with a name of more words than anybody reads") for number in range(4))
    for pushes in ((1.0, 1.0, 1.0, 1.0), (-1.0, -1.0, -1.0, -1.0)):
        nine = Figures(side * 9_000, side * 9_000, side * 9_000, side * 9_000)
        for settled, over in ((0, 0), (1, 900_000), (12, -900_000), (12, 900_000)):
            one = MovedPart(kind, nine, names, pushes, settled, settled and settled - 1, over, True, settled)
            (said,) = step_sentences(moved(one))
            assert len(said.split()) <= 15, said
            first = replace(one, because=tuple((name, name) for _, name in names))
            for said in step_sentences(moved(apart(first, side * 4_000, over))):
                assert len(said.split()) <= 15, said


def test_a_move_is_told_from_a_day_that_the_builder_knows() -> None:
    """Told from the end of the day before, it was said to be since a day on which there was no build."""
    one = moved(part("events", 5_000, 5_000, ("Damage", 9_000)))
    began = replace(one, begun=date(2026, 5, 4))
    assert moved_headline(began) == "P80 rose by €50 since you began on 4 May 2026."
    assert start_words(began) == "Before you began"
    assert moved_headline(replace(began, until=date(2026, 6, 1))) == (
        "P80 rose by €50 from 4 May 2026 to 1 June 2026."
    )
    frozen = replace(one, frozen=date(2026, 5, 4))
    assert moved_headline(frozen) == "P80 rose by €50 since the budget was frozen on 4 May 2026."
    assert start_words(frozen) == "Before the freeze"
    assert start_words(one) == "3 May 2026"


def test_what_is_learnt_does_not_gainsay_what_the_lines_came_to() -> None:
    """Two lines €150 over their estimates, and then estimates that came in high: one large line was under."""
    high = part("learning", -5_000, -5_000, ("Own estimating", -0.5))
    high = replace(high, because=((OWN_ESTIMATING, "Own estimating"),))
    over, under = (priced(push, -9_000, ("Kit", push), ("Paint", push)) for push in (7_500, -7_500))
    assert step_sentences(moved(over, high)) == [
        "2 lines settled €150 over their estimates can come no dearer: −€90.",
        "What came in says that what is open looks cheaper: −€50.",
    ]
    assert step_sentences(moved(under, high))[1] == (
        "Your estimates so far came in high, so the open ones are lowered: −€50."
    )


def test_prices_agreed_are_not_called_receipts() -> None:
    agreed = replace(priced(-5_000, -5_000, ("Paint", -5_000), ("Kit", -100)), agreed=2)
    (step,) = written(moved(agreed)).steps
    assert step_sentences(moved(replace(priced(4_000, -2_000, ("Paint", 4_000)), agreed=1))) == [
        "Paint, agreed €40 over its estimate, can hardly come dearer: −€20."
    ]
    assert (step.short, step.words) == ("Prices agreed", "Prices agreed above or below their estimates")
    (step,) = written(moved(replace(agreed, agreed=1))).steps
    assert step.short == "Receipts, prices agreed"


def test_the_start_is_rounded_as_every_other_answer_rounds_it() -> None:
    """A typo made the end vary so much that 27,740 before receipts was told as 27,700 here and 27,740 elsewhere."""
    start = Figures(2_307_000, 2_307_000, 2_774_000, 2_774_000)
    parts = (part("receipts", 447_000, 333_600, ("Paint", 500_000)), part("events", 0, 0))
    end = start + parts[0].change
    found = written(Moved(date(2026, 5, 3), None, "GBP", start, end, parts, 259.0, 90.0, None, (40.0, 53.0)))
    assert found.start_p80 == 27_740
    assert found.end_p80 == 31_100
    assert found.start_p80 + sum(step.p80 for step in found.steps) == found.end_p80
    assert found.start_half + sum(step.half for step in found.steps) == found.end_half
    assert found.steps[1].p80 == 0
