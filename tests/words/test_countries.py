"""What countries are called, held against Unicode CLDR as Babel has it."""

from __future__ import annotations

from contextlib import suppress

from babel.core import Locale, UnknownLocaleError
from babel.languages import get_official_languages

from forecast.words.countries import COUNTRIES, names_used_in, own_names


def test_own_names_are_those_of_each_countrys_official_languages() -> None:
    for code in COUNTRIES:
        found = []
        for language in get_official_languages(code, de_facto=True):
            with suppress(UnknownLocaleError, ValueError):
                found.append(Locale.parse(language).territories.get(code, "") if language != "en" else "")
        assert own_names().get(code, ()) == tuple(dict.fromkeys(filter(None, found)))


def test_countries_are_named_in_every_official_language_of_one() -> None:
    assert names_used_in("BE")["DE"] == ("Duitsland", "Allemagne", "Deutschland")
    assert names_used_in("NL")["GB"] == ("Verenigd Koninkrijk",)
    assert not names_used_in("IE").get("JP", ("",))[0].startswith("Japan")  # English is left out
