"""``forecast`` itself is a contents page: what it offers is there, sorted, and nothing more."""

from __future__ import annotations

from importlib import import_module

import pytest

import forecast


def test_the_contents_are_sorted_and_complete() -> None:
    assert forecast.__all__ == sorted(forecast.__all__)
    assert set(forecast.__all__) == set(forecast._HOMES)


@pytest.mark.parametrize("name", forecast.__all__)
def test_each_name_comes_from_its_home(name: str) -> None:
    assert getattr(forecast, name) is getattr(import_module(forecast._HOMES[name]), name)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        _ = forecast.nothing
