"""What every kind of figure promises; a new one is found by its being there."""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from forecast.buildfile.toml import toml_value
from forecast.figures.figure import FIGURE_KINDS, FigureBase, own_keys, range_written
from forecast.figures.kinds import SHAPES, UncertainFigure

READ: TypeAdapter[FigureBase] = TypeAdapter(UncertainFigure)
NUMBERS = (0.5, 2.0, 3.0, 4.5, 9.0)
LISTS = ((2.0, 4.5), (0.25, 0.75))


def examples(kind: str) -> Iterator[FigureBase]:
    """Give figures of a kind, each of its keys at a few numbers or lists: those that the kind itself takes."""
    model = FIGURE_KINDS[kind]
    keys = [key for key in model.model_fields if key in own_keys(model)]
    needed = [key for key in keys if model.model_fields[key].is_required()]
    for named in dict.fromkeys((tuple(needed), tuple(keys))):
        for values in itertools.product((*NUMBERS, *LISTS), repeat=len(named)):
            try:
                figure = model.model_validate(dict(zip(named, values, strict=True)))
                figure.shape()
            except (ValidationError, ValueError, ArithmeticError):
                continue
            yield figure
            break


def worn(figure: FigureBase) -> FigureBase:
    """Give a figure with all that any may say beside its numbers."""
    said: dict[str, Any] = {
        "causes": {"fit": 0.7, "own": 0.25},
        "currency": "JPY",
        "unit": "kg",
        "starter": True,
    }
    return figure.model_copy(update=said)


def read_back(written: Any) -> FigureBase:
    """Read a plain value from the text that a file would hold."""
    return READ.validate_python(tomllib.loads(f"figure = {toml_value(written)}")["figure"])


@pytest.mark.parametrize("kind", FIGURE_KINDS)
class TestContract:
    def test_there_is_one_to_look_at(self, kind: str) -> None:
        assert list(examples(kind))

    def test_it_is_written_back_as_it_was_read(self, kind: str) -> None:
        for figure in examples(kind):
            assert read_back(figure.as_written()) == figure
            assert read_back(worn(figure).as_written()) == worn(figure)

    def test_what_it_says_besides_is_kept_under_other_numbers(self, kind: str) -> None:
        for figure in examples(kind):
            for cells in ((1.0, 2.0, 3.0), (1.0, None, 3.0), (None, 2.0, None)):
                other = read_back(range_written(*cells, worn(figure).said_besides()))
                assert other.cells == cells
                assert (
                    other.model_copy(update={"starter": True}).said_besides() == worn(figure).said_besides()
                )
                assert not other.starter  # whoever writes numbers has made them their own

    def test_a_sheet_shows_all_of_it_or_nothing(self, kind: str) -> None:
        for figure in examples(kind):
            if figure.cells is not None:
                assert read_back(range_written(*figure.cells, {})) == figure
                assert figure.slashed("{:g}".format) == " / ".join(f"{number:g}" for number in figure.numbers)

    def test_its_numbers_lie_as_its_distribution_does(self, kind: str) -> None:
        """The middle lies within what it names, and the quantiles rise."""
        for figure in examples(kind):
            shape = figure.shape("here")
            assert figure.lowest <= shape.middle <= figure.highest
            assert figure.lowest <= figure.rough_middle <= figure.highest
            assert figure.falls_to <= shape.middle <= figure.rises_to
            assert figure.cautious_low <= shape.middle
            values = shape.ppf(np.linspace(-4, 4, 81))
            assert np.all(np.diff(values) >= 0)

    def test_its_name_is_its_own_or_shared_with_kinds_of_other_keys(self, kind: str) -> None:
        model = FIGURE_KINDS[kind]
        assert (model.named in SHAPES) == bool(model.named)
        others = [
            other for other in FIGURE_KINDS.values() if other is not model and other.named == model.named
        ]
        assert all(own_keys(other) != own_keys(model) for other in others)
