"""Line numbers of keys in a build file's text."""

from __future__ import annotations

from forecast.buildfile.locate import line_of, locate

TEXT = '''\
# [build] in a comment is none
[build]
name = "[[line]] in text = none"   # = [
currency = "EUR"

[currency.JPY]
rate = 0.006

[[line]]
id = "a"
of = [
  "kit",  # ]
  "freight",
]
amount = { low = 1,
  high = 2 }
note = """
[[line]]
group = "not here"
"""
"quoted key" = 1
dotted.key.of = 2

[[ line ]]
id = 'b'
[line.takeoff]
kind = "filler"
[[line.takeoff.steps]]
grit = 80
[[line.takeoff.steps]]
grit = 120

[scenario.diy.override.a]
amount = 3
'''


def line_starting(text: str) -> int:
    return 1 + next(place for place, line in enumerate(TEXT.splitlines()) if line.startswith(text))


def test_each_table_and_key_has_its_line() -> None:
    assert locate(TEXT) == {
        ("build",): 2,
        ("build", "name"): 3,
        ("build", "currency"): 4,
        ("currency",): 6,
        ("currency", "JPY"): 6,
        ("currency", "JPY", "rate"): 7,
        ("line",): 9,
        ("line", 0): 9,
        ("line", 0, "id"): 10,
        ("line", 0, "of"): 11,
        ("line", 0, "amount"): 15,
        ("line", 0, "note"): 17,
        ("line", 0, "quoted key"): line_starting('"quoted'),
        ("line", 0, "dotted", "key", "of"): line_starting("dotted"),
        ("line", 1): line_starting("[[ line"),
        ("line", 1, "id"): line_starting("id = 'b'"),
        ("line", 1, "takeoff"): line_starting("[line.takeoff]"),
        ("line", 1, "takeoff", "kind"): line_starting("kind"),
        ("line", 1, "takeoff", "steps"): line_starting("[[line.takeoff"),
        ("line", 1, "takeoff", "steps", 0): line_starting("[[line.takeoff"),
        ("line", 1, "takeoff", "steps", 0, "grit"): line_starting("grit = 80"),
        ("line", 1, "takeoff", "steps", 1): line_starting("grit = 80") + 1,
        ("line", 1, "takeoff", "steps", 1, "grit"): line_starting("grit = 120"),
        ("scenario",): line_starting("[scenario"),
        ("scenario", "diy"): line_starting("[scenario"),
        ("scenario", "diy", "override"): line_starting("[scenario"),
        ("scenario", "diy", "override", "a"): line_starting("[scenario"),
        ("scenario", "diy", "override", "a", "amount"): line_starting("amount = 3"),
    }


def test_what_has_no_line_takes_that_of_what_is_around_it() -> None:
    lines = locate(TEXT)

    assert line_of(("line", 0, "amount", "low"), lines) == 15
    assert line_of(("line", 0, "price"), lines) == 9
    assert line_of(("event", 3), lines) is None
    assert line_of((), lines) is None


def test_lines_are_counted_alike_with_windows_line_ends() -> None:
    assert locate(TEXT.replace("\n", "\r\n")) == locate(TEXT)


def test_an_empty_text_has_no_lines() -> None:
    assert locate("") == {}
