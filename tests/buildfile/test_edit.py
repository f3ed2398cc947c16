"""Changing a build file: what is asked for changes, and nothing else does."""

from __future__ import annotations

import difflib
import multiprocessing
import os
import stat
import sys
from pathlib import Path

import pytest

from forecast.buildfile import edit as edit_module
from forecast.buildfile.changes import AddItem, NotNeeded, RemoveItem, SetBuild, SetKey
from forecast.buildfile.edit import can_undo_save, changed, edit_build, save_build, stamp, undo_save
from forecast.buildfile.reader import parse_build, read_build, read_text
from forecast.errors import BuildFileError, EditedMeanwhileError
from forecast.ledger.folder import DEMOS
from forecast.tables.files import versions

TEXT = """\
# what I think as of May
[build]
name = "Coupe"   # the red one
currency = "EUR"
country = "IE"

[[line]]
id = "filler"
group = "consumables"
amount = { low = 40, middle = 60, high = 120 }   # asked two shops
# a word on its own

[[line]]
id = "kit"
group = "kit"
amount = 2500

[[event]]
id = "rust"
chance = 0.3
cost = { low = 100, high = 900 }
"""


def lines_that_differ(old: str, new: str) -> list[str]:
    told = difflib.unified_diff(old.splitlines(), new.splitlines(), "", "", "", "", 1, "")
    return [line for line in list(told)[2:] if line[:1] in "+-"]


def test_a_number_changes_and_its_comment_stays() -> None:
    new = changed(TEXT, [SetKey("filler", "amount", {"low": 40, "middle": 75, "high": 120})])
    assert lines_that_differ(TEXT, new) == [
        "-amount = { low = 40, middle = 60, high = 120 }   # asked two shops",
        "+amount = { low = 40, middle = 75, high = 120 }   # asked two shops",
    ]


def test_a_range_becomes_a_known_figure_and_back_with_its_comment() -> None:
    known = changed(TEXT, [SetKey("filler", "amount", 80.0)])
    assert "amount = 80   # asked two shops" in known
    back = changed(known, [SetKey("filler", "amount", {"low": 40, "middle": 60, "high": 120})])
    assert parse_build(back) == parse_build(TEXT)
    assert "# asked two shops" in back


def test_no_change_gives_the_very_text() -> None:
    assert changed(TEXT, []) == TEXT


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "half-way-new-zealand"])
def test_of_a_demo_build_only_the_line_asked_for_changes(demo: str) -> None:
    text = read_text(DEMOS / demo / "build.toml")
    assert changed(text, []) == text
    item = next(line.id for line in parse_build(text).line if line.amount is not None and line.chance == 1)
    new = changed(text, [SetKey(item, "chance", 0.5)])
    assert lines_that_differ(text, new) == ["+chance = 0.5"]


def test_windows_line_ends_stay() -> None:
    text = TEXT.replace("\n", "\r\n")
    new = changed(
        text, [SetKey("kit", "amount", 2600), AddItem("line", {"id": "wax", "group": "other", "amount": 9})]
    )
    assert new.count("\n") == new.count("\r\n")
    assert parse_build(new).line[1].amount == parse_build("""
        [build]
        name = "x"
        currency = "EUR"
        country = "IE"
        [[line]]
        id = "k"
        group = "kit"
        amount = 2600
        """).line[0].amount  # fmt: skip


def test_a_line_is_added_after_the_others_of_its_kind() -> None:
    new = changed(
        TEXT, [AddItem("line", {"id": "wax", "group": "other", "amount": {"low": 5.0, "high": 9.5}})]
    )
    build = parse_build(new)
    assert [line.id for line in build.line] == ["filler", "kit", "wax"]
    assert all(line.startswith("+") for line in lines_that_differ(TEXT, new))
    assert "amount = {low = 5, high = 9.5}" in new
    assert "# a word on its own" in new


def test_a_line_brings_its_cautions_as_comments_in_full_once() -> None:
    clear = {"id": "clear", "group": "finish", "amount": 90, "hazards": ["spraying"]}
    new = changed(TEXT, [AddItem("line", clear), AddItem("line", clear | {"id": "clear_two"})])
    build = parse_build(new)
    assert [line.id for line in build.line] == ["filler", "kit", "clear", "clear_two"]
    first, second = new.split("[[line]]")[3:]
    assert first.lstrip().startswith("# Caution, two-pack paint and primer: Hardeners with isocyanates")
    assert "(Health and Safety Executive, Britain" in first
    assert second.lstrip().startswith(
        "# Caution, two-pack paint and primer: see the words beside another line (Health"
    )
    assert all(len(line) <= 118 for line in new.splitlines())
    gone = changed(new, [RemoveItem("clear"), RemoveItem("clear_two")])
    assert "Caution" not in gone  # they go with their line
    shop = AddItem("line", clear | {"id": "clear_shop"})
    assert "Caution" not in changed(TEXT, [shop])


def test_the_first_cause_of_a_file_is_added() -> None:
    new = changed(TEXT, [AddItem("cause", {"id": "kit_fit", "name": "How well the kit fits"})])
    assert [cause.id for cause in parse_build(new).cause] == ["kit_fit"]


def test_a_line_is_removed_and_others_stay_as_they_were() -> None:
    new = changed(TEXT, [RemoveItem("kit")])
    assert [line.id for line in parse_build(new).line] == ["filler"]
    assert "# asked two shops" in new
    assert 'name = "Coupe"   # the red one' in new


def test_what_is_not_needed_is_answered_in_the_file() -> None:
    new = changed(TEXT, [NotNeeded("tyres", "they come with the wheels"), NotNeeded("wax", "no")])
    assert parse_build(new).not_needed == {"tyres": "they come with the wheels", "wax": "no"}


def test_the_budget_is_set_and_taken_away() -> None:
    new = changed(TEXT, [SetBuild("budget", 9000.0)])
    assert parse_build(new).build.budget == 9000
    assert changed(new, [SetBuild("budget", None)]) == TEXT


def test_a_line_that_is_not_there_is_named() -> None:
    with pytest.raises(BuildFileError, match="line, event or consignment 'tyres': not in the file"):
        changed(TEXT, [SetKey("tyres", "amount", 3)])


def test_saving_writes_the_whole_file_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_bytes(TEXT.encode())
    if sys.platform != "win32":
        file.chmod(0o640)
    new = changed(TEXT, [SetKey("kit", "amount", 2600)])
    save_build(file, new, TEXT)
    assert file.read_bytes() == new.encode()
    assert sorted(path.name for path in tmp_path.iterdir()) == [".build.toml.lock", "backups", "build.toml"]
    assert [one.path.read_bytes() for one in versions(file)] == [TEXT.encode()]
    if sys.platform != "win32":
        assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_an_edit_made_meanwhile_is_never_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    theirs = TEXT.replace("2500", "2700")
    file.write_text(theirs, encoding="utf-8")
    with pytest.raises(EditedMeanwhileError, match="Nothing was written") as caught:
        save_build(file, changed(TEXT, [SetKey("kit", "amount", 2600)]), TEXT)
    assert caught.value.theirs == theirs
    assert file.read_text(encoding="utf-8") == theirs
    assert lines_that_differ(TEXT, theirs) == ["-amount = 2500", "+amount = 2700"]
    assert stamp(TEXT) != stamp(theirs)


def test_a_build_with_mistakes_is_not_written(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(TEXT, encoding="utf-8")
    wrong = changed(TEXT, [SetKey("filler", "amount", {"low": 90, "middle": 60, "high": 120})])
    with pytest.raises(BuildFileError, match="low must be under middle"):
        save_build(file, wrong, TEXT)
    assert file.read_text(encoding="utf-8") == TEXT


def test_a_disk_that_refuses_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "build.toml"
    file.write_text(TEXT, encoding="utf-8")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BuildFileError, match="the disk is full"):
        save_build(file, changed(TEXT, [SetKey("kit", "amount", 2600)]), TEXT)
    assert file.read_text(encoding="utf-8") == TEXT
    assert list(tmp_path.glob("*.part")) + list(tmp_path.glob(".*.part")) == []


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "bom"])
@pytest.mark.parametrize("ends", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_line_ends_and_the_mark_of_the_encoding_stay(tmp_path: Path, mark: bytes, ends: str) -> None:
    file = tmp_path / "build.toml"
    file.write_bytes(mark + TEXT.replace("\n", ends).encode())
    edit_build(
        file,
        [SetKey("kit", "amount", 2600), AddItem("line", {"id": "tape", "group": "consumables", "amount": 9})],
    )
    edit_build(file, [SetKey("tape", "amount", 12)])
    content = file.read_bytes()
    assert content.startswith(mark)
    assert content.count(b"\xef\xbb\xbf") == len(mark) // 3
    text = content.removeprefix(mark).decode()
    assert text.count("\n") == text.count(ends)
    assert len(text.splitlines()) > len(TEXT.splitlines())


def test_where_line_ends_are_mixed_each_old_line_keeps_its_own() -> None:
    lines = TEXT.split("\n")
    mixed = "".join(line + ("\r\n" if number % 2 else "\n") for number, line in enumerate(lines[:-1]))
    new = changed(mixed, [SetKey("kit", "amount", 2600)])
    assert new == mixed.replace("amount = 2500", "amount = 2600")


def add_lines(folder: str, first: int) -> None:
    for number in range(first, first + 6):
        table = {"id": f"line_{number}", "group": "other", "amount": number}
        edit_build(Path(folder) / "build.toml", [AddItem("line", table)])


def save_lines(folder: str, first: int) -> None:
    """Save as the dashboard does: what was read is compared, and the edit is made anew when it was refused."""
    file = Path(folder) / "build.toml"
    for number in range(first, first + 6):
        table = {"id": f"line_{number}", "group": "other", "amount": number}
        while True:
            text = read_text(file)
            try:
                save_build(file, changed(text, [AddItem("line", table)]), text)
            except EditedMeanwhileError:
                continue
            break


def test_programs_that_save_at_once_lose_nothing(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(TEXT, encoding="utf-8")
    spawn = multiprocessing.get_context("spawn")
    jobs = [
        spawn.Process(target=work, args=(str(tmp_path), 1 + 6 * place))
        for place, work in enumerate((add_lines, save_lines, add_lines, save_lines))
    ]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join(120)
    assert [job.exitcode for job in jobs] == [0] * 4
    found = {line.id for line in read_build(file).line}
    assert {f"line_{number}" for number in range(1, 25)} <= found


def test_saves_are_undone_one_by_one_and_nothing_written_by_other_means_is_lost(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_bytes(b"\xef\xbb\xbf" + TEXT.encode())
    texts = [TEXT]
    for budget in (5000, 6000, 7000):
        texts.append(edit_build(file, [SetBuild("budget", budget)]))
    for text in reversed(texts[:-1]):
        assert undo_save(file) == text
    assert file.read_bytes() == b"\xef\xbb\xbf" + TEXT.encode()
    assert not can_undo_save(file)
    assert [one.undone for one in versions(file)] == [True] * 3  # what was undone is kept
    edit_build(file, [SetBuild("budget", 8000)])
    theirs = TEXT.replace("2500", "2700")
    file.write_text(theirs, encoding="utf-8")
    with pytest.raises(EditedMeanwhileError):
        undo_save(file)
    assert read_text(file) == theirs
    edit_build(file, [SetBuild("budget", 9000)])
    assert undo_save(file) == theirs


SCATTERED = (
    TEXT
    + """
# the one I wrote myself
[[ "line" ]]   # below the events
id = "quay"
group = "import"
amount = { low = 50, middle = 90, high = 300, starter = true }   # rent

[not_needed]
stands = "at hand"

[[line]]
id = "crane"
group = "import"
amount = 80

[[event]]
id = "late"
chance = 0.1
cost = 40
"""
)


def test_lines_that_stand_below_other_tables_stay_there() -> None:
    change = SetKey("filler", "amount", {"low": 40, "middle": 60, "high": 150})
    assert lines_that_differ(SCATTERED, changed(SCATTERED, [change])) == [
        "-amount = { low = 40, middle = 60, high = 120 }   # asked two shops",
        "+amount = { low = 40, middle = 60, high = 150 }   # asked two shops",
    ]
    assert lines_that_differ(SCATTERED, changed(SCATTERED, [SetKey("crane", "amount", 90)])) == [
        "-amount = 80",
        "+amount = 90",
    ]
    windows = SCATTERED.replace("\n", "\r\n")
    assert lines_that_differ(windows, changed(windows, [SetKey("late", "cost", 50)])) == [
        "-cost = 40",
        "+cost = 50",
    ]


def test_a_line_is_added_after_the_last_and_taken_out_where_it_stands() -> None:
    line = {"id": "shims", "group": "other", "amount": 9}
    added = changed(SCATTERED, [AddItem("line", line)])
    assert [line.id for line in parse_build(added, "text").line][-2:] == ["crane", "shims"]
    assert not [line for line in lines_that_differ(SCATTERED, added) if line.startswith("-")]
    fewer = changed(SCATTERED, [RemoveItem("crane")])
    assert lines_that_differ(SCATTERED, fewer)[:4] == [
        "-[[line]]",
        '-id = "crane"',
        '-group = "import"',
        "-amount = 80",
    ]
    assert not [line for line in lines_that_differ(SCATTERED, fewer) if line.startswith("+")]


def test_what_goes_out_of_a_table_in_one_line_leaves_no_gap() -> None:
    change = SetKey("quay", "amount", {"low": 50, "middle": 90, "high": 400})
    assert lines_that_differ(SCATTERED, changed(SCATTERED, [change])) == [
        "-amount = { low = 50, middle = 90, high = 300, starter = true }   # rent",
        "+amount = { low = 50, middle = 90, high = 400 }   # rent",
    ]


def test_a_part_below_other_tables_still_belongs_to_its_line() -> None:
    text = TEXT.replace("amount = 2500", "") + "\n[line.amount]\nlow = 2000\nmiddle = 2500\nhigh = 3000\n"
    new = changed(text, [SetKey("kit", "amount", {"low": 2000, "middle": 2500, "high": 3500})])
    assert (
        parse_build(new, "text").line[1].amount
        == parse_build(text.replace("3000", "3500"), "text").line[1].amount
    )


AWKWARD = """\
[build]
name = "Coupe"
currency = "EUR"
country = "IE"
notice = '''
[[line]]
id = "kit"
'''

[[line]]   # the first of all
id = "kit"
group = "kit"
amount = 2500

  # of the next one
  [[line]]
  "id" = 'filler'
  name = "[[line]] # id = \\"kit\\""
  group = "consumables"
  quantity = { low = 1, middle = 2, high = 4, unit = "kg" }
  price = 12
  # behind it

[[event]]
id = "rust"
chance = 0.3
cost = { low = 100, high = 900 }

[scenario.diy]
all = "self"

[[line]]
id = "paint"
group = "finish"
[line.amount]
low = 100
high = 900"""
"""Tables that go on below others, text that looks like tables, an end without a line end."""
ANEW = (
    ("amount", 7),
    ("amount", {"low": 1, "middle": 2.5, "high": 3}),
    ("name", 'A "b" [[line]]'),
    ("note", None),
)


@pytest.mark.parametrize("ends", ["\n", "\r\n"], ids=["lf", "crlf"])
@pytest.mark.parametrize("name", ["awkward", "before-ordering-ireland", "half-way-new-zealand"])
def test_a_table_read_by_itself_is_changed_as_in_the_whole_file(
    name: str, ends: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = AWKWARD if name == "awkward" else read_text(DEMOS / name / "build.toml")
    text = text.replace("\n", ends)
    build = parse_build(text)
    items = [*build.line, *build.event]
    asked = [
        [SetKey(item.id, key, value), SetKey(items[0].id, "source", "x")]
        for item in items
        for key, value in ANEW
    ]
    asked = asked[:: 1 if name == "awkward" else 9]
    alone = [changed(text, changes) for changes in asked]
    monkeypatch.setattr(edit_module, "_tables_of_lists", lambda _: None)
    assert alone == [changed(text, changes) for changes in asked]


def test_of_a_long_file_the_table_that_changes_is_all_that_is_read_for_its_comments(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The whole of it took longer than the new figures, at every edit."""
    text = read_text(DEMOS / "before-ordering-ireland" / "build.toml")
    read: list[str] = []
    parse = edit_module.tomlkit.parse
    monkeypatch.setattr(edit_module.tomlkit, "parse", lambda part: read.append(part) or parse(part))
    item = parse_build(text).line[3].id
    changed(text, [SetKey(item, "amount", 7), SetKey(item, "note", "asked")])
    assert [part.count("[[line]]") for part in read] == [1]


def test_a_file_that_is_no_toml_further_down_is_not_changed() -> None:
    with pytest.raises(BuildFileError, match="Mend it in an editor first"):
        changed(TEXT + "amount = = 3\n", [SetKey("kit", "amount", 1)])
