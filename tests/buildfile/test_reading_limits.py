"""What a build file may be, so that reading it ends: depth, entries, lines, and how many mistakes are told."""

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.toml import DEEPEST, MOST_ENTRIES, MOST_PARTS, parse_toml
from forecast.errors import MOST_MISTAKES, MOST_SHOWN, BuildFileError

HEAD = '[build]\nname = "Van"\ncurrency = "EUR"\ncountry = "IE"\n'


def line(number: int, rest: str = "amount = 2") -> str:
    return f'[[line]]\nid = "l{number}"\nname = "Line {number}"\ngroup = "kit"\n{rest}\n'


def refused(text: str) -> BuildFileError:
    with pytest.raises(BuildFileError) as caught:
        parse_build(text)
    return caught.value


def test_ten_thousand_unknown_keys_are_one_short_message() -> None:
    error = refused(HEAD + "".join(f"key{number} = 1\n" for number in range(10_000)))

    told = str(error).splitlines()
    assert told[0] == f"build file: {MOST_MISTAKES} or more mistakes"
    assert len(told) == MOST_SHOWN + 2
    assert told[1].startswith("  1. line 5: build, key0: unknown key 'key0'.")
    assert told[-1] == "  … and 150 or more besides. Mend these first, then look again."
    assert len(str(error)) < 20_000


def test_few_mistakes_are_counted_as_they_are() -> None:
    told = str(refused(HEAD + "".join(f"key{number} = 1\n" for number in range(60)))).splitlines()

    assert told[0] == "build file: 60 mistakes"
    assert told[-1] == "  … and 10 besides. Mend these first, then look again."


@pytest.mark.parametrize(
    "chain",
    ["a." * 100_000 + "a", '"a" . ' * 100_000 + "b", "'a'." * 65 + "b"],
    ids=["bare", "quoted", "few"],
)
@pytest.mark.parametrize("form", ["[{}]", "[[{}]]", "{} = 1", "x = {{ {} = 1 }}"])
def test_a_key_of_endless_parts_is_told_before_it_is_parsed(chain: str, form: str) -> None:
    [problem] = refused(HEAD + form.format(chain)).problems

    assert problem.line == 5
    assert problem.found == f"a key of more than {MOST_PARTS} parts with points between them"


def test_points_in_text_are_no_parts_of_a_key() -> None:
    text = HEAD + line(1, f'amount = 2\nnote = "{"one. " * 60}{"12.5 " * 60}…{"." * 200}"')

    assert parse_build(text).line[0].note


def test_tables_inside_tables_through_short_keys_are_told() -> None:
    deep = "a." * 40
    text = f"[{deep}a]\nb = {{ {deep}c = 1 }}\n"

    assert refused(text).problems[0].found == "nested too deeply"
    assert parse_toml("x = " + "[" * (DEEPEST - 2) + "]" * (DEEPEST - 2), "it", "")


def test_a_list_without_end_is_told() -> None:
    found = refused(f"{HEAD}x = [{'1,' * (MOST_ENTRIES + 1)}]").problems[0].found

    assert found == f"a list or table of {MOST_ENTRIES + 1:,} entries"


def test_more_lines_than_a_build_has_are_told_at_once() -> None:
    told = str(refused(HEAD + "".join(line(number) for number in range(2001))))

    assert "line: found 2,001 of them. A build has 2,000 at most" in told
    assert len(parse_build(HEAD + "".join(line(number) for number in range(2000))).line) == 2000


def test_scenarios_times_lines_are_held_within_what_can_be_checked() -> None:
    text = HEAD + "".join(line(number) for number in range(1001))
    text += "".join(f"[scenario.s{number}]\n" for number in range(50))

    assert "1,001 lines and events under 50 scenarios and options" in str(refused(text))


def test_names_that_are_nowhere_are_told_quickly_in_a_large_build() -> None:
    error = refused(
        HEAD
        + "".join(line(number, f'percent = 2\nof = ["x{number}", "y{number}"]') for number in range(2000))
    )

    assert len(error.problems) == MOST_MISTAKES
    assert "there is no line, group or consignment 'x0'" in str(error)


def test_a_circle_through_two_thousand_lines_is_told_in_a_few_words() -> None:
    error = refused(HEAD + "".join(line(number, 'percent = 2\nof = ["kit"]') for number in range(2000)))

    assert max(len(problem.found) for problem in error.problems) < 200
    assert len(error.problems) == MOST_MISTAKES


@pytest.mark.parametrize("key", ["k" * 500_000, '"' + "e" * 500_000 + '"'])
def test_a_key_half_a_file_long_is_shown_cut(key: str) -> None:
    assert len(str(refused(f"{HEAD}{key} = 1\n"))) < 1000
    assert len(str(refused(f"{key} = 1\n{HEAD}"))) < 1000
    assert len(str(refused(f"{key} = \n{HEAD}"))) < 1000
