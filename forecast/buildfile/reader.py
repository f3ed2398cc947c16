"""Reads a build file, and reports every mistake in it at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from pathlib import Path as FilePath
from typing import Any, cast, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from forecast.buildfile.checks import cross_check, few_suggestions, found_right, nearest
from forecast.buildfile.consignment import Consignment
from forecast.buildfile.kept import Kept
from forecast.buildfile.locate import Path, line_of, locate
from forecast.buildfile.schema import Build, Costed, Event, Line
from forecast.buildfile.toml import parse_toml
from forecast.errors import MOST_MISTAKES, BuildFileError, BuildNotThereError, Problem
from forecast.figures.figure import FIGURE_KINDS
from forecast.figures.file_values import parts_of, short
from forecast.figures.kinds import FIGURE_KEYS, HOW_TO_WRITE
from forecast.tables.files import LARGEST_TEXT, UnfitFileError, read_regular, why_not
from forecast.words.text import plain

MOST_LINES = 2_000
"""Lines, or events, of a build."""
MOST_OTHERS = 100
"""Scenarios, causes, or anything else of one kind."""
MOST_CHANGED = 50_000
"""Lines and events, times the scenarios and options that each of them is checked under."""


def build_path(path: str | FilePath) -> FilePath:
    """Give the build file that a path means: the file itself, or ``build.toml`` in a folder.

    Where a disk takes capitals and small letters alike, ``Build.toml`` is the same build, with the same ledger.
    """
    path = FilePath(path)
    try:
        if path.is_dir():
            return path / "build.toml"
        usual = path.with_name("build.toml") if path.name.casefold() == "build.toml" else path
        return usual if usual.exists() and usual.samefile(path) else path
    except OSError:  # a folder above it cannot be entered; reading the file then says so
        return path


def read_build(path: str | FilePath) -> Build:
    """Read a build file.

    Parameters
    ----------
    path : str or pathlib.Path
        The file, or the folder that holds ``build.toml``.

    Returns
    -------
    Build

    Raises
    ------
    BuildFileError
        With every mistake in the file, each with the key's path and line number, what was found, what is
        legal and how to mend it.

    Examples
    --------
    >>> build = read_build("scenarios/before-ordering-ireland")
    >>> build.name, build.build.currency
    ('Wide-arch coupe, kit from Japan', 'EUR')
    """
    file = build_path(path)
    build = parse_build(read_text(file), str(file))
    _FILES.get(build, "", lambda: file)
    return build


_FILES: Kept[FilePath | None] = Kept()


def file_of(build: Build) -> FilePath | None:
    """Give the file that a build was read from; None where it was made of a text."""
    return _FILES.get(build, "", lambda: None)


def read_text(file: FilePath) -> str:
    """Read the text of a build file, line ends as they stand; see `read_build`.

    Raises
    ------
    BuildFileError
        When it cannot be read as text.
    """
    heading = str(file)
    try:
        raw = read_regular(file, LARGEST_TEXT)
    except UnfitFileError as error:
        raise BuildFileError(
            heading, [Problem("file", error.strerror, "This is not a build file.")]
        ) from None
    except FileNotFoundError:
        raise BuildNotThereError(heading) from None
    except OSError as error:
        mend = "Give the path of a build file, or of the folder that holds build.toml."
        raise BuildFileError(heading, [Problem("file", why_not(error), mend)]) from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        mend = "Save it as UTF-8 in your editor."
        found = f"byte {error.start + 1} is not UTF-8"
        raise BuildFileError(heading, [Problem("file", found, mend)]) from None


@lru_cache(maxsize=4)
def parse_build(text: str, heading: str = "build file") -> Build:
    """Read a build from the text of a build file; see `read_build`.

    The last few are kept: one command asks for the same build several times, and what was worked out for it (its plans
    and prior trials) stays with the object.
    """
    mend = "The file must be TOML: key = value under [tables], text in double quotes."
    raw = parse_toml(text, heading, mend)
    build, raised = assemble(raw)
    if raised or build is None:
        lines = locate(text)
        problems = [
            Problem(_spell(path, raw), found, mend, line_of(path, lines), path)
            for path, found, mend in raised
        ]
        problems.sort(key=lambda problem: problem.line or 0)
        raise BuildFileError(heading, problems)
    return build


def assemble(raw: Mapping[str, Any]) -> tuple[Build | None, list[tuple[Path, str, str]]]:
    """Validate item by item, so that one bad line does not hide the mistakes of the others.

    Parameters
    ----------
    raw : mapping
        The file as plain dictionaries and lists.

    Returns
    -------
    build : Build or None
        None where there is any mistake.
    raised : list of tuple
        Path, what was found and how to mend it, for each mistake.
    """
    with few_suggestions():
        return _assemble(raw)


def _assemble(raw: Mapping[str, Any]) -> tuple[Build | None, list[tuple[Path, str, str]]]:
    raised: list[tuple[Path, str, str]] = _too_many(raw)
    if raised:
        return None, raised
    good: dict[str, Any] = {}
    lost: list[str] = []
    for key, value in raw.items():
        field = Build.model_fields.get(key)
        if field is None:
            raised.append(((key,), f"unknown key {short(key)}", nearest(key, Build.model_fields)))
            continue
        form = get_origin(field.annotation)
        if not isinstance(value, list if form is tuple else Mapping):
            raised.append(((key,), f"found {short(value)}", _brackets(key, form)))
            continue
        adapter = _adapter(key)
        whole = _try(adapter, value, (key,), None)
        if whole is not None:
            good[key] = whole
        elif form is tuple:
            item_type: TypeAdapter[Any] = TypeAdapter(get_args(field.annotation)[0])
            items = [_try(item_type, item, (key, place), raised) for place, item in enumerate(value)]
            good[key] = tuple(item for item in items if item is not None)
            for item, made in zip(value, items, strict=True):
                lost += _names(item) if made is None else []
        elif form is dict and isinstance(value, Mapping):
            parts = {name: _try(adapter, {name: part}, (key,), raised) for name, part in value.items()}
            good[key] = {name: made[name] for name, made in parts.items() if made is not None}
            lost += [name for name, made in parts.items() if made is None]
        else:
            _try(adapter, value, (key,), raised)
    if "build" not in raw:
        mend = 'Begin the file with [build], name = "…", currency = "EUR" and country = "IE".'
        raised.append((("build",), "missing", mend))
    if "build" not in good:
        return None, raised
    partial = Build.model_construct(**good)
    raised += cross_check(partial, lost)
    for name, scenario in partial.scenario.items():
        raised += _check_overrides(partial, ("scenario", name), scenario.override)
    for place, option in enumerate(partial.option):
        raised += _check_overrides(partial, ("option", place), option.override)
    return (None if raised else found_right(Build.model_validate(good))), raised


@cache
def _adapter(key: str) -> TypeAdapter[Any]:
    """Give what reads all that stands under a key of a build file; making one takes longer than most readings."""
    return TypeAdapter(cast(Any, Build.model_fields[key].annotation))


def _too_many(raw: Mapping[str, Any]) -> list[tuple[Path, str, str]]:
    """Refuse a file with more of anything than a build has, before each of them is looked at."""
    counts = {
        key: len(value)
        for key, value in raw.items()
        if key in Build.model_fields and isinstance(value, list | Mapping)
    }
    raised: list[tuple[Path, str, str]] = []
    for key, count in counts.items():
        most = MOST_LINES if key in ("line", "event") else MOST_OTHERS
        if key != "build" and count > most:
            mend = f"A build has {most:,} at most: put what is small and alike together."
            raised.append(((key,), f"found {count:,} of them", mend))
    items, changes = (
        sum(counts.get(key, 0) for key in pair) for pair in (("line", "event"), ("scenario", "option"))
    )
    if not raised and items * changes > MOST_CHANGED:
        found = f"{items:,} lines and events under {changes:,} scenarios and options"
        mend = (
            f"The two multiplied may come to {MOST_CHANGED:,}: leave scenarios out that you do not compare."
        )
        raised.append((("scenario" if "scenario" in raw else "option",), found, mend))
    return raised


def _check_overrides(
    build: Build, at: Path, override: Mapping[str, Mapping[str, Any]]
) -> list[tuple[Path, str, str]]:
    """Validate each overridden item as it would stand with the override made."""
    raised: list[tuple[Path, str, str]] = []
    items: list[Costed | Consignment] = [*build.line, *build.event, *build.consignment]
    for item in items:
        if item.id in override:
            changed = item.model_dump(exclude_unset=True) | dict(override[item.id])
            _try(TypeAdapter(type(item)), changed, (*at, "override", item.id), raised)
    return raised


def _brackets(key: str, form: Any) -> str:
    """Say how a table of that name is begun."""
    if form is tuple:
        return f"Begin each one with [[{key}]], in double square brackets."
    if form is dict:
        return f"Begin each one with [{key}.ID], in single square brackets and with an id of its own."
    return f"Begin it with [{key}], in single square brackets, once."


def _names(item: Any) -> list[str]:
    """Give the names that other items may use to refer to one that could not be read."""
    if not isinstance(item, Mapping):
        return []
    return [item[name] for name in ("id", "package", "route") if isinstance(item.get(name), str)]


def _try(
    adapter: TypeAdapter[Any], value: Any, path: Path, raised: list[tuple[Path, str, str]] | None
) -> Any:
    """Validate; add what is wrong to what was raised, where that is wanted and there is not far too much already."""
    try:
        return adapter.validate_python(value)
    except ValidationError as error:
        if raised is None:
            return None
        errors, before = error.errors(include_url=False), len(raised)
        places = [item["loc"] for item in errors]
        for item in errors:
            if len(raised) >= MOST_MISTAKES:
                break
            here = item["loc"]
            if item["type"] == "too_short" and any(
                place[: len(here)] == here and place != here for place in places
            ):
                continue  # the wrong entries were taken out before the rest was counted
            told = _translate(item, path, value)
            outside = item["type"] == "extra_forbidden" and told[1].endswith("outside a figure")
            if not outside or all(told[1:] != other[1:] for other in raised[before:]):
                raised.append(told)  # loose numbers of one figure are told together, once
        return None


def _translate(error: Any, path: Path, value: Any) -> tuple[Path, str, str]:
    """Put one of pydantic's errors into the builder's words."""
    where, holder, tag = _real_path(error["loc"], value)
    kind, given, context = error["type"], error.get("input"), error.get("ctx", {})
    here = path + where
    match kind:
        case "builder":
            return here, context["found"], context["mend"]
        case "missing":
            return here, "missing", f"Add {error['loc'][-1]} = …"
        case "extra_forbidden":
            word = str(error["loc"][-1])
            legal = [name for name in _legal_keys(here, tag, holder) if name not in ("kind", "routes", word)]
            home = next((key for key in ("amount", "cost", "price", "rate") if key in legal), None)
            if word in FIGURE_KEYS and home is not None:
                loose = [key for key in holder if key in FIGURE_KEYS and key not in legal]
                numbers = ", ".join(f"{key} = {short(holder[key])}" for key in loose)
                return here, f"{' and '.join(loose)} outside a figure", f"Write {home} = {{ {numbers} }}."
            return here, f"unknown key {short(word)}", nearest(word, legal)
        case _:
            return here, f"found {short(given)}", _rule(kind, given, context, error["msg"])


def _rule(kind: str, given: Any, context: Mapping[str, Any], message: str) -> str:
    """Say what is legal where a value of the wrong sort or size was found."""
    match kind:
        case "string_pattern_mismatch" | "string_type":
            return _text_rule(context.get("pattern", ""))
        case "string_too_long":
            return f"It may have {context['max_length']} characters at most."
        case "literal_error":
            return f"Legal: {context['expected']}."
        case "union_tag_invalid":
            return HOW_TO_WRITE
        case "float_type" | "float_parsing" | "finite_number" | "int_type":
            return _PLAIN_NUMBER
        case "bool_type":
            return "Write true or false, without quotes."
        case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
            return _PLAIN_NUMBER if given != given else _size_rule(given, context)
        case "tuple_type":
            return 'Write a list in square brackets, such as ["kit", "freight"] or [410, 455].'
        case "dict_type" | "model_type" | "model_attributes_type":
            return "Write a table: { key = value }, or [its name in square brackets] and its keys below."
        case "too_short" | "too_long":
            few, many = context.get("min_length"), context.get("max_length")
            return f"Give {few} or more." if kind == "too_short" else f"Give {many} or fewer."
        case _:
            return f"{message}."


def _size_rule(given: Any, context: Mapping[str, Any]) -> str:
    """Say how large a number may be, and what a percentage comes to as a share where one was written for it."""
    if context.get("le") == 1:
        whole = isinstance(given, int | float) and 1 < given <= 100
        return "It is from 0 to 1" + (f": write {given / 100:g} for {given:g} %." if whole else ".")
    limits = {"gt": "above", "ge": "at least", "lt": "under", "le": "at most"}
    told = " and ".join(f"{words} {context[key]:,.15g}" for key, words in limits.items() if key in context)
    return f"It must be {told}." if told else _PLAIN_NUMBER


_PLAIN_NUMBER = "Write a plain number, such as 1250 or 12.50, without quotes."


def _legal_keys(path: Path, tag: str | None, holder: Any) -> Iterable[str]:
    """Give the keys of the model that refused an unknown one."""
    if tag is not None:
        return [*FIGURE_KINDS[tag].model_fields, "shape"]
    keys = set(holder) if isinstance(holder, Mapping) else set()
    models = _models_at(path[:-1]) or [Build]
    return max(models, key=lambda model: len(keys & set(model.model_fields))).model_fields


def _models_at(path: Path) -> list[type[BaseModel]]:
    """Give the models that may stand at a path of the build file; an override changes a line or an event."""
    if "override" in path:
        return [Line, Event, Consignment]
    here: list[Any] = [Build]
    for part in path:
        fields = [model.model_fields[str(part)] for model in _models_in(here) if part in model.model_fields]
        here = [
            field.annotation for field in fields
        ] or here  # a place in a list, or an id, leads to the same models
    return _models_in(here)


def _models_in(annotations: Iterable[Any]) -> list[type[BaseModel]]:
    """Give the models that annotations name, inside lists, tables and unions too."""
    found: list[type[BaseModel]] = []
    for annotation in annotations:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            found.append(annotation)
        else:
            found += _models_in(parts_of(annotation))
    return found


def _real_path(location: tuple[str | int, ...], value: Any) -> tuple[Path, Any, str | None]:
    """Drop from pydantic's location what is a union's tag and not a key of the file.

    Returns
    -------
    path : tuple
    holder : object
        What holds the last key of the path.
    tag : str or None
        The kind of figure that the last key was refused in, where it was one.
    """
    path: list[str | int] = []
    here = value
    holder = value
    tagged: Any = None
    tag: str | None = None
    for place, part in enumerate(location):
        last = place == len(location) - 1
        if part == "quotes" and not last and here is not tagged and _has_quotes(here):
            tagged, tag = here, "quotes"  # the kind is called like its key: the first mention is the kind
            continue
        if isinstance(here, Mapping) and here.get("kind") == part and not last and here is not tagged:
            tagged = here  # a take-off's kind, which some of them have a key of
            continue
        is_key = isinstance(here, Mapping) and part in here
        is_place = isinstance(here, list | tuple) and isinstance(part, int) and part < len(here)
        if is_key or is_place:
            holder, here = here, here[part]
            path.append(part)
        elif last and isinstance(here, Mapping) and part not in FIGURE_KINDS and part != "[key]":
            path.append(part)
        elif part in FIGURE_KINDS:
            tag = str(part)
    return tuple(path), holder, tag


def _has_quotes(value: Any) -> bool:
    return isinstance(value, Mapping) and isinstance(value.get("quotes"), list)


def _text_rule(pattern: str) -> str:
    if pattern == r"^[A-Z]{3}$":
        return 'Write the three capital letters of ISO 4217, such as "EUR".'
    if pattern == r"^[A-Z]{2}$":
        return 'Write the two capital letters of ISO 3166-1, such as "IE".'
    if pattern:
        return "An id begins with a letter and has letters, digits, - and _ only, at most 64."
    return "Write text in double quotes."


def _spell(path: Path, raw: Any) -> str:
    """Write a path as a builder calls it: ``'Body filler', price, low`` for a line, ``event 'Rust', cost``.

    A thing goes by its name, else its id, else its number; what follows is written as the file's keys are.
    """
    words: list[str] = []
    here = raw
    for place, part in enumerate(path):
        above = path[place - 1] if place else None
        if isinstance(part, int):
            here = here[part] if isinstance(here, list) and part < len(here) else None
            called = _called(here)
            kind = words.pop() if words else ""
            if called is None:
                words.append(f"{kind} no. {part + 1}")
            else:
                words.append(f"'{called}'" if kind == "line" else f"{kind} '{called}'")
            continue
        here = here.get(part) if isinstance(here, Mapping) else None
        if above in ("scenario", "override", "currency"):
            kind = words.pop()
            words.append(f"{kind}{' of' if above == 'override' else ''} '{_cut(part)}'")
        else:
            words.append(_cut(part))
    return ", ".join(words)


def _called(item: Any) -> str | None:
    """Give the name of an item of the file, or its id; None where it has neither."""
    if not isinstance(item, Mapping):
        return None
    for key in ("name", "id"):
        text = item.get(key)
        if isinstance(text, str) and (shown := plain(text, lines=False).strip()):
            return _cut(shown)
    return None


def _cut(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}..."


__all__ = ["assemble", "build_path", "parse_build", "read_build", "read_text"]
