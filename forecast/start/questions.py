"""The questions of the guided start, apart from any screen: the terminal and the dashboard ask them alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import Any, Literal

from forecast.buildfile.incoterms import incoterms
from forecast.buildfile.places import load_places
from forecast.buildfile.rulefiles import unknown_country
from forecast.words.currencies import reference_rates

Kind = Literal["text", "choice", "choices", "range", "number", "boxes", "yes-no"]

DONT_KNOW = "don't know"
"""Always a legal answer; it widens the ranges."""


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes
    ----------
    id : str
        Its key in an answers file.
    text : str
        As it is put to a builder.
    help : str
        What the answer changes.
    how : str
        How to write it, where it is written and not picked.
    kind : str
        choice: one of the choices; choices: any of them; range: a price, a range or several quotes; boxes: sizes.
    choices : mapping
        What may be chosen, with its name in words. They are suggestions where any country does.
    default : object
        Taken when nothing is answered, as it would be written; ``DONT_KNOW`` for most. `default_of` knows better
        where it follows from earlier answers.
    anywhere : bool
        Any country of the world does.
    called : mapping
        What people call a choice besides its name, as far as there is anything.
    follows : str
        Id of the question whose answer decides the default; empty where none does.
    """

    id: str
    text: str
    help: str
    how: str
    kind: Kind
    choices: Mapping[str, str]
    default: Any = DONT_KNOW
    follows: str = ""
    anywhere: bool = False
    called: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))


_UNNAMED = "My conversion"
_WHO = {"self": "I do it myself", "shop": "a shop does it"}
_NOTHING: Mapping[str, str] = {}
_YES_NO = "Yes or no."
_HOW_COUNTRY = "A name, a part of one, or two letters: Thailand, Thai or TH."

WEEK_HOURS = 8
"""Own hours in a week where the builder does not say: two evenings and half a Saturday (invented)."""


@cache
def questions() -> tuple[Question, ...]:
    """Give all questions, in the order in which to ask them."""
    places = load_places()
    countries = {code: place.name for code, place in places.countries.items()}
    origins = {code: place.name for code, place in sorted(places.origins.items())}
    called = {code: place.called for code, place in places.origins.items() if place.called}
    currencies = dict.fromkeys(sorted(reference_rates()), "")
    return (
        Question(
            "name", "What do you call this build?",
            f"It stands on every page and report. Without one it is called \u201c{_UNNAMED}\u201d.",
            "Any words.", "text", _NOTHING, _UNNAMED,
        ),
        Question(
            "country", "In which country will the car be registered?",
            f"Its customs and tax rules hold. Without it, {unknown_country().words} are taken.",
            _HOW_COUNTRY, "choice", countries,
            called=called,
        ),
        Question(
            "currency", "In which currency do you count your money?",
            "Everything is added up in it.", "Three letters, such as EUR.", "choice", currencies, follows="country",
        ),
        Question(
            "panels", "Which parts does the kit have?",
            "Areas, joints, filler, paint and hours follow from them. Without an answer, a usual kit of bumpers, "
            "skirts, arches and a spoiler is taken, with wider ranges.", "Several, with commas.", "choices",
            {id: panel.name for id, panel in places.panels.items()},
        ),
        Question(
            "origin", "In which country is the kit made?",
            "Duty depends on where it was made, which need not be where it is sold.", _HOW_COUNTRY, "choice",
            origins, anywhere=True, called=called,
        ),
        Question(
            "sent_from", "From which country is it sent?",
            "Freight depends on where it comes from, and within one customs territory there is no duty. A lower duty "
            "by a trade agreement goes by where it is made, and is often lost where it is not sent from there.",
            _HOW_COUNTRY, "choice", origins, follows="origin", called=called, anywhere=True,
        ),
        Question(
            "kit_currency", "In which currency is it priced?",
            "Its price is asked next, in this money. The rate moves until you pay.",
            "Three letters, such as USD.", "choice", currencies, follows="origin",
        ),
        Question(
            "kit_price", "What does the kit cost?",
            "As the seller quotes it. Sellers ask very different prices for much the same kit, so the range is "
            "wide without an answer.",
            "One price (2450), a range (1800-3200), low, middle and high (1800/2400/3200), or several quotes "
            "(2100; 2450; 3300).", "range", _NOTHING,
        ),
        Question(
            "rate", "What does one unit of that currency cost in yours today?",
            "Without it, a rounded rate on file is taken, with a wider range: look up today's.",
            "A number, such as 0.85, or a range: its middle counts.", "number", _NOTHING,
        ),
        Question(
            "shipping", "How is it shipped?",
            "Kits are bulky and light, so volume decides. By sea the bill at the port is often above the freight.",
            "One word.", "choice",
            {
                "sea": "by sea, in a shared container", "air": "as air freight", "courier": "by courier",
                "road": "by road",
            },
        ),
        Question(
            "incoterm", "What does the seller's price include?",
            "The quote says it with three letters, an Incoterms rule; what they leave out, you pay. Without an answer "
            "FOB is taken by sea, FCA otherwise.",
            "Three letters, such as FOB.", "choice",
            {code: rule.words for code, rule in incoterms().items()},
        ),
        Question(
            "boxes", "How many boxes, of which outside size in cm and weight in kg?",
            "Without it the volume follows from the parts, with a wide range: ask the seller.",
            "Such as: 1 x 200x120x60 45 kg; 2 x 150x50x40 12 kg.", "boxes", _NOTHING,
        ),
        Question(
            "region", "Where in your country do you live?",
            "A rate of import tax follows from it.", "One of them.", "choice", _NOTHING,
        ),
        Question(
            "private_use", "Does the kit count as goods for your own use?",
            "Duty and import tax follow from it. Without an answer both sums are told, and the higher one is counted.",
            _YES_NO, "yes-no", _NOTHING,
        ),
        Question(
            "arches_cut", "Are the inner arches cut?",
            "Cutting brings welding, sealing, corrosion protection and a closer inspection.", _YES_NO, "yes-no",
            _NOTHING,
        ),
        Question(
            "wheels_new", "Do you buy new wheels?",
            "They bring tyres, fixings, mounting and alignment with them.", _YES_NO, "yes-no", _NOTHING,
        ),
        Question(
            "filling", "Who fills, primes and blocks?",
            "The most hours of the job. All ways are compared in any case; your answer is shown first.",
            "One word.", "choice", _WHO,
        ),
        Question(
            "paint", "Who paints?",
            "Two-pack paint needs air-fed breathing protection: at home it is better farmed out.", "One word.",
            "choice", _WHO,
        ),
        Question(
            "at_hand", "What is at hand already?",
            "What you have is not bought.", "Several, with commas; none for nothing.", "choices",
            {
                "compressor": "a compressor", "sander": "a sander with dust extraction", "spray_gun": "a spray gun",
                "stands": "a jack and stands", "mask": "an air-fed mask", "space": "space to work in",
            },
        ),
        Question(
            "car_state", "How is the body of the car?",
            "Hidden rust is found when it is apart, the likelier the older it is.", "One word.", "choice",
            {"sound": "sound, under 10 years", "worn": "some rust, or 10 to 20 years", "rusty": "rusty, or older"},
        ),
        Question(
            "first_build", "Is it your first build?",
            "A first build takes about 1.6 times the hours of a later one. It wastes about 1.4 times as much filler, "
            "primer and paint. Common practice, no source.",
            _YES_NO, "yes-no", _NOTHING,
        ),
        Question(
            "week_hours", "How many hours a week can you work on it?",
            f"So many weeks follow, with the weeks that shops and late parts take. Without it {WEEK_HOURS} are taken.",
            "A number or a range, such as 8 or 6-10: of a range the middle counts.", "number", _NOTHING,
        ),
        Question(
            "budget", "What do you want to spend at most?",
            "You will see how often it is enough. Leave it open if you want to see what to hold first.",
            "A number, such as 9500.", "number", _NOTHING,
        ),
    )  # fmt: skip


def choice_words(id: str, name: str) -> str:
    """Write a choice as it is offered: its name, with the letters that stand for it where they are known as such."""
    if not name or name == id:
        return id
    return f"{name} ({id})" if id.isupper() else name


@cache
def question(id: str) -> Question:
    """Give the question of an id."""
    return next(item for item in questions() if item.id == id)


__all__ = ["DONT_KNOW", "WEEK_HOURS", "Kind", "Question", "choice_words", "question", "questions"]
