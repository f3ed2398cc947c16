"""Countries by their two letters: which there are, and what is often written for one of them."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import cache, lru_cache
from importlib import resources
from types import MappingProxyType

from forecast.words.text import folded

_CODES = (
    "AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT BV BW BY BZ CA "
    "CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR GA "
    "GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP "
    "KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS "
    "MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS "
    "RU RW SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW "
    "TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS XK YE YT ZA ZM ZW "
)
COUNTRIES = frozenset(_CODES.split())
"""ISO 3166-1 alpha-2, and XK, which is used for Kosovo."""

_MEANT: Mapping[str, str] = {"UK": "GB", "EL": "GR", "EN": "GB", "JA": "JP"}
"""What is written for a country and is none, or none any more."""


ALSO: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "CD": ("zaire", "democratic republic of the congo"), "CI": ("ivory coast",), "CV": ("cabo verde",),
    "FM": ("micronesia",), "GB": ("uk",), "IR": ("persia",), "KP": ("democratic people's republic of korea",),
    "MK": ("macedonia",), "MM": ("burma",), "RU": ("russian federation",), "SZ": ("swaziland",), "TL": ("east timor",),
    "VA": ("vatican", "holy see"), "VN": ("viet nam",),
})  # fmt: skip
"""What people call a country besides its name, in small letters; those with rules say more in their rule files."""


def country_name(code: str) -> str:
    """Give the English name of a country (Unicode CLDR, by Babel); the code itself where it has none."""
    return country_names().get(code, code)


@cache
def country_names() -> Mapping[str, str]:
    """Give the English names of all countries of the world by code, in the order of the names."""
    from babel import Locale  # loaded late: most commands never ask for it

    names = Locale("en").territories
    found = {code: str(names[code]) for code in COUNTRIES if code in names}
    return MappingProxyType(dict(sorted(found.items(), key=lambda item: folded(item[1]))))


def countries_called(
    written: str, names: Mapping[str, str], called: Mapping[str, Iterable[str]]
) -> tuple[str, ...]:
    """Give the two letters of the countries that people may mean by what they write.

    A code, a usual mistake for one, a name or an everyday name means one country. Else a part of a name does, of three
    letters or more, with which a word of it begins; and else the whole name of any country of the world, also in its
    own languages. Dots,
    accents, further blanks and a leading "the" count nothing: ``U.S.A.``, ``the UK``.

    Parameters
    ----------
    written : str
    names : mapping
        Names by code, of the countries that are likely meant.
    called : mapping
        Everyday names by code, as far as there are any.

    Returns
    -------
    tuple of str
        Several where a part of a name fits several; none where it is not known.
    """
    words = folded(written).removeprefix("the ")
    code = _MEANT.get(words.upper(), words.upper())
    if code in COUNTRIES:
        return (code,)
    every = {
        id: tuple(map(folded, (name, *called.get(id, ()), *ALSO.get(id, ())))) for id, name in names.items()
    }
    found = tuple(id for id, known in every.items() if words in known)
    if not found and len(words) >= _LEAST:
        found = tuple(id for id, known in every.items() if any(f" {words}" in f" {name}" for name in known))
    if not found:
        found = tuple(
            id
            for id, name in country_names().items()
            if words in map(folded, (name, *called.get(id, ()), *ALSO.get(id, ())))
        )
    return found or tuple(id for id, own in own_names().items() if words in map(folded, own))


def names_near(
    written: str, names: Mapping[str, str], called: Mapping[str, Iterable[str]] = MappingProxyType({})
) -> tuple[str, ...]:
    """Give the names of the countries most like what was written, the nearest first; at most three."""
    said = folded(written)
    near = {}
    for id, name in names.items():
        every = map(folded, (name, *called.get(id, ()), *ALSO.get(id, ())))
        near[name] = max(difflib.SequenceMatcher(None, said, one).ratio() for one in every)
    close = sorted((name for name, like in near.items() if like >= _NEAR), key=lambda name: -near[name])
    return tuple(close[:_SUGGESTED])


_NEAR, _SUGGESTED = 0.6, 3
"""How alike a name must be to be suggested, and how many are."""


@cache
def own_names() -> Mapping[str, tuple[str, ...]]:
    """Give what each country is called in its own official languages besides English, by code: ``Polska``."""
    text = resources.files("forecast").joinpath("words/own_names.toml").read_text(encoding="utf-8")
    return MappingProxyType({code: tuple(names) for code, names in tomllib.loads(text).items()})


@lru_cache(maxsize=8)
def names_used_in(country: str) -> Mapping[str, tuple[str, ...]]:
    """Give what all countries are called in the official languages of one, by code: ``Verenigd Koninkrijk``.

    From Unicode CLDR, by Babel; English is left out.
    """
    from babel.core import Locale, UnknownLocaleError
    from babel.languages import get_official_languages

    found: dict[str, dict[str, None]] = {}
    for language in get_official_languages(country, de_facto=True):
        if language == "en":
            continue
        with suppress(UnknownLocaleError, ValueError):
            for code, name in Locale.parse(language).territories.items():
                if code in COUNTRIES:
                    found.setdefault(code, {})[str(name)] = None
    return MappingProxyType({code: tuple(names) for code, names in found.items()})


_LEAST = 3
"""Letters from which on a part of a name is looked for."""


def nearest_country(code: str) -> str:
    """Suggest the country that two letters may be meant for, as a sentence; say what is legal where none is near."""
    meant = _MEANT.get(code.upper())
    if meant is None and code.upper() in COUNTRIES:
        meant = code.upper()
    if meant is not None:
        return f"Did you mean {meant!r}?"
    if code == "EU":
        return "The European Union is no country here: name the one, such as 'IE' or 'DE'."
    return "Write the two capital letters of ISO 3166-1, such as 'IE'."


__all__ = [
    "ALSO",
    "COUNTRIES",
    "countries_called",
    "country_name",
    "country_names",
    "names_near",
    "names_used_in",
    "nearest_country",
    "own_names",
]
