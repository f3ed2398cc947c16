"""Countries by their two letters: which there are, and what is often written for one of them."""

from __future__ import annotations

from collections.abc import Mapping

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


_CALLED: Mapping[str, tuple[str, ...]] = {
    "AE": ("emirates", "united arab emirates"),
    "CN": ("prc",),
    "CZ": ("czech republic",),
    "GB": ("britain", "great britain", "england", "scotland", "wales", "northern ireland"),
    "IE": ("eire", "republic of ireland", "southern ireland"),
    "KR": ("korea", "republic of korea"),
    "NL": ("holland",),
    "NZ": ("aotearoa",),
    "TR": ("turkey", "turkiye"),
    "TW": ("taiwan",),
    "US": ("usa", "america", "states", "united states of america"),
}
"""What people call a country besides the name it has on lists, in small letters."""


def country_called(written: str, names: Mapping[str, str]) -> str | None:
    """Give the two letters of a country as people write it: code, usual mistake for it, name or everyday name.

    Dots, further blanks and a leading "the" count nothing: ``U.S.A.``, ``the UK``.

    Parameters
    ----------
    written : str
    names : mapping
        Names by code, of a list of countries.

    Returns
    -------
    str or None
        None where it is not known.
    """
    called = {name.casefold(): code for code, name in names.items()} | {
        name: code for code, listed in _CALLED.items() for name in listed
    }
    words = " ".join(written.replace(".", "").casefold().split()).removeprefix("the ")
    code = _MEANT.get(words.upper(), words.upper())
    return code if code in COUNTRIES else called.get(words)


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


__all__ = ["COUNTRIES", "country_called", "nearest_country"]
