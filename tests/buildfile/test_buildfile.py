"""The build file's reader: all mistakes at once, each with its line; whatever stands in the file, never a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecast.buildfile.reader import build_path, parse_build, read_build
from forecast.buildfile.schema import GROUPS, Build
from forecast.errors import BuildFileError
from forecast.figures.figure import FIGURE_KINDS
from forecast.figures.kinds import FIGURE_KEYS, HOW_TO_WRITE, SHAPES
from tests.buildfile.texts import HEAD, LINE, complaints, problems

ROOT = Path(__file__).resolve().parents[2]
DEMOS = sorted((ROOT / "scenarios").glob("*/build.toml"))
PLAIN = "Write a plain number, such as 1250 or 12.50, without quotes."
TEXT = "Write text in double quotes."
TABLE = "Write a table: { key = value }, or [its name in square brackets] and its keys below."


def refused(path: Path) -> str:
    with pytest.raises(BuildFileError) as raised:
        read_build(path)
    return str(raised.value)


def test_a_file_or_its_folder_may_be_given(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD + LINE + "amount = 3\n", encoding="utf-8")

    assert build_path(tmp_path) == build_path(file) == build_path(str(file)) == file
    assert read_build(tmp_path) == read_build(str(file)) == parse_build(file.read_text(encoding="utf-8"))


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    text = HEAD + LINE + 'amount = 3\nnote = "Größe"\n'
    file = tmp_path / "build.toml"
    file.write_bytes(text.replace("\n", "\r\n").encode("utf-8-sig"))

    assert read_build(file) == parse_build(text)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    file = tmp_path / "nowhere.toml"

    assert refused(file) == (f"{file}: there is no build here. Check its name and where it lies.")


def test_a_file_that_is_not_utf_8_is_told_where(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_bytes(b'[build]\nname = "Gr\xf6\xdfe"\n')

    assert refused(file) == (
        f"{file}: 1 mistake\n  1. file: byte 19 is not UTF-8. Save it as UTF-8 in your editor."
    )


def test_a_file_too_large_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_bytes(b"#" * 1_000_001)

    assert refused(file) == f"{file}: 1 mistake\n  1. file: larger than 1 MB. This is not a build file."


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n"])
def test_an_empty_file_is_told_how_to_begin(text: str) -> None:
    mend = 'Begin the file with [build], name = "…", currency = "EUR" and country = "IE".'

    assert complaints(text) == [f"build: missing. {mend}"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[build\n", 1),
        ("[build]\nname = \n", 2),
        ('# first\n[build]\nname = """\n\n', 4),
        ('[build]\nname = "x"\nname = "y"\n', 3),
        ("\x00", 1),
        ('[build]\nname = "\\uD800"\n', 2),
        ("PK\x03\x04", 1),
        ('{"build": {}}', 1),
    ],
)
def test_what_is_not_toml_is_told_with_its_line(text: str, line: int) -> None:
    [found] = complaints(text)

    assert found.startswith(
        f"line {line}: file: "
    )  # what Python's reader then says differs between its versions
    assert found.endswith(". The file must be TOML: key = value under [tables], text in double quotes.")


def test_an_endless_number_and_a_day_that_never_was_are_told() -> None:
    told = (
        "file: has a number of thousands of digits, or a date that does not exist. Write numbers as 1250 or 12.50, and "
        "dates as 2026-05-03."
    )

    assert complaints("x = " + "9" * 5000) == [told]
    long = "0x" + "f" * 9000
    assert complaints(HEAD + f"budget = {long}\n") == [
        f"line 5: build, budget: found a number of more than 60 digits. {PLAIN}"
    ]
    assert complaints(f"{HEAD}{LINE}amount = [{long}]\n") == [
        f"line 8: 'a', amount: found [a number of more than 60 digits]. {HOW_TO_WRITE}"
    ]


@pytest.mark.parametrize("depth", [40, 5000])
def test_deep_nesting_is_no_harm(depth: int) -> None:
    listed = complaints(f"x = {'[' * depth}{']' * depth}\n{HEAD}")
    tables = complaints(f"{HEAD}own_hour_value = {'{ a = ' * depth}1{' }' * depth}\n")

    assert len(listed) == len(tables) == 1
    if depth > 1000:
        assert listed == tables == ["file: nested too deeply. Nest tables no deeper than the examples do."]
    else:
        assert listed[0].startswith("line 1: x: unknown key 'x'.")
        assert tables == [f"line 5: build, own_hour_value: found keys 'a'. {HOW_TO_WRITE}"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[build]\n", ["name: missing. Add name = …", "currency: missing.", "country: missing."]),
        (
            '[build]\nname = 3\ncurrency = "euro"\ncountry = "Ireland"\nestimating = 1\nbudget = 0\nnotice = true\n',
            [
                f"name: found 3. {TEXT}",
                "currency: found 'euro'. Write the three capital letters of ISO 4217, such as \"EUR\".",
                "country: found 'Ireland'. Write the two capital letters of ISO 3166-1, such as \"IE\".",
                "estimating: found 1. It must be under 1.",
                "budget: found 0. It must be above 0.",
                f"notice: found true. {TEXT}",
            ],
        ),
        (HEAD + "estimating = nan\n", [f"estimating: found nan. {PLAIN}"]),
        (HEAD + "budget = inf\n", ["budget: found inf. It must be at most 1,000,000,000,000."]),
        (HEAD + 'estimating = "0.25"\n', [f"estimating: found '0.25'. {PLAIN}"]),
        (HEAD + "budget = true\n", [f"budget: found true. {PLAIN}"]),
        (HEAD + 'curency = "EUR"\n', ["curency: unknown key 'curency'. Did you mean 'currency'?"]),
        (
            HEAD + f'notice = "{"x" * 2001}"\n',
            [f"notice: found '{'x' * 56}.... It may have 2000 characters at most."],
        ),
    ],
)
def test_the_build_table_is_checked(text: str, told: list[str]) -> None:
    found = [complaint.split("build, ", 1)[1] for complaint in complaints(text)]

    assert len(found) == len(told)
    assert all(complaint.startswith(expected) for complaint, expected in zip(found, told, strict=True))


GROUP_LIST = ", ".join(f"'{group}'" for group in GROUPS[:-1]) + " or 'other'"


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ('group = "kitt"\namount = 1', f"line 7: 'a', group: found 'kitt'. Legal: {GROUP_LIST}."),
        ('group = ["kit"]\namount = 1', f"line 7: 'a', group: found ['kit']. Legal: {GROUP_LIST}."),
        ("amount = 1", "line 5: 'a', group: missing. Add group = …"),
        (
            'group = "kit"',
            "line 5: 'a': costs nothing. Give an amount, a quantity and a price, percent and of, ",
        ),
        (
            'group = "kit"\nquantity = 3',
            "line 5: 'a': price is missing. A quantity needs a price and a price a quantity; or write one "
            "amount.",
        ),
        ('group = "kit"\nprice = 3', "line 5: 'a': quantity is missing. A quantity needs a price"),
        (
            'group = "kit"\namount = 1\nquantity = 2\nprice = 3',
            "line 5: 'a': has amount as well as quantity and price. Keep one way: amount, quantity and price, "
            "or percent and of.",
        ),
        (
            'group = "kit"\npercent = 2',
            "line 5: 'a': of is missing. A percentage needs both: percent = 2.5 and of = [\"kit\", "
            '"freight"] (lines or groups).',
        ),
        (
            'group = "kit"\nof = ["import"]',
            "line 5: 'a': percent is missing. A percentage needs both",
        ),
        (
            'group = "kit"\npercent = 2\nof = "kit"',
            "line 9: 'a', of: found 'kit'. Write a list in square brackets, such as",
        ),
        (
            'group = "kit"\namount = 1\nchance = 0',
            "line 9: 'a', chance: found 0. It must be above 0.",
        ),
        (
            'group = "kit"\namount = 1\nchance = 1.5',
            "line 9: 'a', chance: found 1.5. It is from 0 to 1: write 0.015 for 1.5 %.",
        ),
        ('group = "kit"\namount = 1\nchance = "0.5"', f"line 9: 'a', chance: found '0.5'. {PLAIN}"),
        ('group = "kit"\namount = 1\nchance = true', f"line 9: 'a', chance: found true. {PLAIN}"),
        (
            'group = "kit"\namount = 1\nsafety = "yes"',
            "line 9: 'a', safety: found 'yes'. Write true or false, without quotes.",
        ),
        (
            'group = "kit"\namount = 1\noptional = 1',
            "line 9: 'a', optional: found 1. Write true or false",
        ),
        (
            'group = "kit"\nammount = 1',
            "line 8: 'a', ammount: unknown key 'ammount'. Did you mean 'amount'?",
        ),
        (
            'group = "kit"\namount = 1\npackage = "my paint"',
            "line 9: 'a', package: found 'my paint'. An id begins with a letter and has letters, digits, - and "
            "_ only, at most 64.",
        ),
    ],
)
def test_a_line_is_checked(keys: str, told: str) -> None:
    [found, *more] = complaints(f'{HEAD}[[line]]\nid = "a"\n{keys}\n')

    assert found.startswith(told)
    assert more == ([] if "ammount" not in keys else more)


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ("line = 3", "line 1: line: found 3. Begin each one with [[line]], in double square brackets."),
        ("event = [3]", f"line 1: event no. 1: found 3. {TABLE}"),
        (
            '[line]\nid = "a"',
            "line 1: line: found { id = 'a' }. Begin each one with [[line]], in double square brackets.",
        ),
        (
            "currency = 3",
            "line 1: currency: found 3. Begin each one with [currency.ID], in single square brackets",
        ),
        (
            "[[scenario]]\nall = 3",
            "line 1: scenario: found [{ all = 3 }]. Begin each one with [scenario.ID], in single",
        ),
        ("scenario.diy = 3", f"line 1: scenario 'diy': found 3. {TABLE}"),
        ('[scenario."1x"]', "line 1: scenario '1x': found '1x'. An id begins with a letter"),
        ("[currency.jpy]\nrate = 1", "line 1: currency 'jpy': found 'jpy'. Write the three capital letters"),
        ("[currency.JPY]", "line 1: currency 'JPY', rate: missing. Add rate = …"),
        (
            "[currency.JPY]\nrate = 1\nvolatilty = 0.1",
            "line 3: currency 'JPY', volatilty: unknown key 'volatilty'. Did you",
        ),
        ("[[cause]]\nname = 'x'", "line 1: cause 'x', id: missing. Add id = …"),
        ('[[event]]\nid = "e"\ncost = 3', "line 1: event 'e', chance: missing. Add chance = …"),
        (
            '[[event]]\nid = "e"\nchance = 0.5',
            "line 1: event 'e': has no impact. Give a cost, percent and of, ",
        ),
        ('[[lines]]\nid = "a"', "line 1: lines: unknown key 'lines'. Did you mean 'line'?"),
        ("[builds]", "line 1: builds: unknown key 'builds'. Did you mean 'build'?"),
        ("[not_needed]\nx = 3", f"line 2: not_needed, x: found 3. {TEXT}"),
        (
            '[[line]]\nid = "kit"\ngroup = "kit"\nquotes = [2400, 2600]',
            "line 4: 'kit', quotes: quotes outside a figure. Write amount = { quotes = [2400, 2600] }.",
        ),
        (
            '[[line]]\nid = "kit"\ngroup = "kit"\nlow = 40\nmiddle = 60\nhigh = 120',
            "line 4: 'kit', low: low and middle and high outside a figure. "
            "Write amount = { low = 40, middle = 60, high = 120 }.",
        ),
        (
            '[[event]]\nid = "late"\nchance = 0.5\nquotes = [24, 26]',
            "line 4: event 'late', quotes: quotes outside a figure. Write cost = { quotes = [24, 26] }.",
        ),
        (
            '[[line]]\nid = "kit"\ngroup = "kit"\namount = { quotes = [24, 26], quots = [3] }',
            "line 4: 'kit', amount, quots: unknown key 'quots'. Did you mean 'quotes'?",
        ),
        (
            '[[line]]\nid = "a"\ngroup = "kit"\nprice = 3\n'
            'takeoff = { kind = "paint", area = 2, paint = "clear", solids = 0 }',
            "line 5: 'a', takeoff, solids: found 0. With so little no amount would do",
        ),
        (
            "[scenario.normal]\nroute = {}",
            "line 2: scenario 'normal', route: unknown key 'route'. Did you mean 'note'?",
        ),
    ],
)
def test_other_tables_are_checked(tables: str, told: str) -> None:
    [found] = complaints(f"{tables}\n{HEAD}")

    assert found.startswith(told)


@pytest.mark.parametrize("brackets", ["build = 3\n", '[[build]]\nname = "x"\n'])
def test_the_build_table_stands_once_and_in_single_brackets(brackets: str) -> None:
    [found] = complaints(brackets)

    assert found.startswith("line 1: build: found ")
    assert found.endswith(". Begin it with [build], in single square brackets, once.")


def test_all_mistakes_of_a_file_are_told_at_once_in_the_order_of_its_lines(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(
        """\
[build]
name = "x"
currency = "euro"
country = "IE"

[[line]]
id = "a"
group = "kit"
amount = { low = 5, middle = 3, high = 9 }

[[line]]
id = "b"
group = "kitt"
price = "12"

[[event]]
id = "e"
chance = 2
cost = 3
""",
        encoding="utf-8",
    )

    assert refused(file) == "\n".join(
        [
            f"{file}: 5 mistakes",
            "  1. line 3: build, currency: found 'euro'. Write the three capital letters of ISO 4217, such as \"EUR\".",
            "  2. line 9: 'a', amount: low 5, middle 3, high 9. No shape has these percentiles: low must be "
            "under middle and middle under high. Sort the three, or write one number if it is known.",
            f"  3. line 13: 'b', group: found 'kitt'. Legal: {GROUP_LIST}.",
            f"  4. line 14: 'b', price: found '12'. {HOW_TO_WRITE}",
            "  5. line 18: event 'e', chance: found 2. It is from 0 to 1: write 0.02 for 2 %.",
        ]
    )


def test_mistakes_of_single_items_and_between_items_are_told_together() -> None:
    text = HEAD + LINE + 'percent = 1\nof = ["a"]\n[[line]]\nid = "b"\ngroup = "kit"\namount = -inf\n'

    assert [told.split(". ")[0] for told in complaints(text)] == [
        "line 9: 'a', of: goes in a circle: a → a",
        "line 13: 'b', amount: found -inf",
    ]


VARIANT = HEAD + LINE + 'amount = {{ shape = "{shape}", min = 1, mode = 2, max = 3 }}\n'


def test_a_fingerprint_tells_shapes_with_the_same_numbers_apart() -> None:
    triangle, pert = (parse_build(VARIANT.format(shape=shape)) for shape in ("triangular", "beta-pert"))

    assert triangle.fingerprint() != pert.fingerprint()
    assert len(triangle.fingerprint()) == 64


def test_a_fingerprint_is_blind_to_how_the_file_is_written() -> None:
    plain = parse_build(HEAD + LINE + "amount = { low = 1, high = 2 }\n")
    other = parse_build(
        '# a comment\n[[line]]\n"group" = "kit"\namount.high = 2.0\namount.low = 1.0\nid = \'a\'\n\n' + HEAD
    )

    assert other.fingerprint() == plain.fingerprint()


@pytest.mark.parametrize(
    "changed",
    [
        "amount = { low = 1, high = 2.0000000001 }",
        "amount = { low = 1, middle = 1.4, high = 2 }",
        "amount = { low = 1, high = 2, estimated = false }",
        "amount = { low = 1, high = 2 }\nsafety = true",
        'amount = { low = 1, high = 2 }\nname = "A"',
        "amount = { low = 1, high = 2 }\n[scenario.a]\n[scenario.b]",
        "amount = { low = 1, high = 2 }\n[scenario.b]\n[scenario.a]",
    ],
)
def test_a_fingerprint_sees_every_change(changed: str) -> None:
    plain = parse_build(HEAD + LINE + "amount = { low = 1, high = 2 }\n")

    assert parse_build(HEAD + LINE + changed + "\n").fingerprint() != plain.fingerprint()


def test_a_fingerprint_tells_which_scenario_comes_first() -> None:
    first, second = (parse_build(f"{HEAD}[scenario.{a}]\n[scenario.{b}]\n") for a, b in ("xy", "yx"))

    assert first.fingerprint() != second.fingerprint()


def test_a_fingerprint_is_the_same_in_another_process() -> None:
    code = "import sys; from forecast.buildfile.reader import read_build; print(read_build(sys.argv[1]).fingerprint())"
    run = subprocess.run(
        [sys.executable, "-c", code, str(DEMOS[0])],
        cwd=ROOT,
        env=os.environ | {"PYTHONHASHSEED": "7"},
        capture_output=True,
        text=True,
        check=True,
    )

    assert run.stdout.strip() == read_build(DEMOS[0]).fingerprint()


def read_or_refused(text: str) -> None:
    told = problems(text)

    assert all(problem.found and problem.where and problem.mend for problem in told)
    assert told or isinstance(parse_build(text), Build)


QUICK = settings(
    max_examples=120, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)


@given(st.text())
@QUICK
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    read_or_refused(text)
    read_or_refused(HEAD + LINE + "amount = " + text)


VALUES = st.recursive(
    st.booleans()
    | st.integers()
    | st.floats()
    | st.sampled_from(["kit", "strong", "triangular", "a", "JPY", ""]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["low", "middle", "high", "shape", "quotes", "value", "kind", "causes", "min", "x"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=6,
)
KEYS = st.sampled_from(
    ["id", "group", "amount", "quantity", "price", "percent", "of", "chance", "package", "route", "own_hours", "causes",
     "cost", "rate", "all", "override", "takeoff", "kind", "name", "line", "resale", "hands_over", "share"]
)  # fmt: skip
TABLES = st.sampled_from(
    ["[[line]]", "[[event]]", "[[cause]]", "[scenario.s]", "[currency.JPY]", "[[consignment]]", "[[measure]]",
     "[[option]]", "[line]", "[[build]]", "[scenario.s.override.a]", "[not_needed]"]
)  # fmt: skip


def written(value: object) -> str:
    """Write a value as TOML."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return f'"{value}"'
        case list():
            return f"[{', '.join(map(written, value))}]"
        case dict():
            return "{ " + ", ".join(f"{key} = {written(item)}" for key, item in value.items()) + " }"
        case _:
            return repr(value)


@given(st.lists(st.tuples(TABLES, st.dictionaries(KEYS, VALUES, max_size=6)), max_size=4))
@QUICK
def test_any_keys_and_values_are_read_or_refused_in_words(
    tables: list[tuple[str, dict[str, object]]],
) -> None:
    text = HEAD
    for header, keys in tables:
        text += header + "\n" + "".join(f"{key} = {written(value)}\n" for key, value in keys.items())

    read_or_refused(text)


@given(st.data())
@QUICK
def test_a_demo_with_lines_lost_or_swapped_is_read_or_refused_in_words(data: st.DataObject) -> None:
    lines = data.draw(st.sampled_from(DEMOS)).read_text(encoding="utf-8").splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(lines) - 1))
        other = data.draw(st.integers(0, len(lines) - 1))
        lines[place], lines[other] = lines[other], data.draw(st.sampled_from(["", lines[place]]))

    read_or_refused("\n".join(lines))


# What a figure's kind, its shape and its keys are called: a key of that name may stand in the wrong table.
FIGURE_WORDS = sorted({*FIGURE_KINDS, *SHAPES, *FIGURE_KEYS, "kind", "x"})


@pytest.mark.parametrize("value", [[2400, 2600], {"quotes": [1, 2]}])
@pytest.mark.parametrize(
    "place",
    [
        "line", "event", "cause", "consignment", "measure", "option", "scenario.s", "currency.JPY", "build",
        "line.0.amount", "line.0.takeoff", "event.0.cost", "consignment.0.goods.0", "consignment.0.boxes.0",
        "consignment.0.storage", "option.0.line.0", "option.0.override.kit", "scenario.s.override.kit", "",
    ],
)  # fmt: skip
def test_any_word_of_a_figure_in_any_table_is_read_or_refused_in_words(place: str, value: object) -> None:
    for word in FIGURE_WORDS:
        raw = _with(place.split(".") if place else [], word, value)
        read_or_refused("\n".join(f"{key} = {written(item)}" for key, item in raw.items()))


def _with(place: list[str], word: str, value: object) -> dict[str, object]:
    """Give a build with one key more at a place, where tables and lists are made as they are needed."""
    raw: dict[str, object] = {
        "build": {"name": "x", "currency": "EUR", "country": "IE"},
        "line": [{"id": "kit", "group": "kit"}],
    }
    here: object = raw
    listed = {"line", "event", "cause", "consignment", "measure", "option", "goods", "boxes"}
    for part in place:
        if isinstance(here, list):
            here = here[int(part)]
            continue
        assert isinstance(here, dict)
        here = here.setdefault(part, [{"id": "kit"}] if part in listed else {})
    if isinstance(here, list):
        here = here[0]
    assert isinstance(here, dict)
    here[word] = value
    return raw
