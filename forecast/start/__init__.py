"""The guided start: some twenty questions, and the complete build file that their answers make.

``questions`` and ``read_answer`` serve a screen that asks one by one; ``read_answers`` reads an answers file;
``write_build`` gives the file's text and ``create_build`` puts it into a folder. ``write_draft`` keeps answers on the
way, and ``stand`` says where they stand.
"""

from __future__ import annotations

from forecast.start.answers import (
    Answers,
    answers_of,
    as_asked,
    default_of,
    is_asked,
    is_counted,
    is_follow_up,
    place_words,
    read_answer,
    read_answers,
)
from forecast.start.create import check_free, create_build, put_build, write_build
from forecast.start.draft import DraftStanding, read_draft, stand, understood, write_draft
from forecast.start.far_price import FarPrice, far_price
from forecast.start.questions import DONT_KNOW, Question, choice_words, question, questions
from forecast.start.written_answers import WrongAnswer

__all__ = [
    "DONT_KNOW",
    "Answers",
    "DraftStanding",
    "FarPrice",
    "Question",
    "WrongAnswer",
    "answers_of",
    "as_asked",
    "check_free",
    "choice_words",
    "create_build",
    "default_of",
    "far_price",
    "is_asked",
    "is_counted",
    "is_follow_up",
    "place_words",
    "put_build",
    "question",
    "questions",
    "read_answer",
    "read_answers",
    "read_draft",
    "stand",
    "understood",
    "write_build",
    "write_draft",
]  # fmt: skip
