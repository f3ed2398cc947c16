"""``forecast check``: what is wrong in a build file, and what may have been left out."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

from forecast.errors import BuildFileError, LedgerError
from forecast.views.commands.common import (
    Answered,
    add_file,
    answer,
    answer_in_words,
    command,
    finished_words,
    typed,
)

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.engine.rule_weights import Weight
    from forecast.ledger.folder import BuildFolder
    from forecast.missing.rules import Finding
    from forecast.trade.expansion import Expansion, RuleUse
    from forecast.views.answers.of_check import (
        CannotBeUsed,
        CautionBeside,
        CheckAnswer,
        CheckFinding,
        DoubtedRule,
        Mistake,
        QuotesOfOneFigure,
        UndecidedChoice,
        UsualRange,
    )
    from forecast.watching.standing import Standing

_NAMES = 3
"""So many lines are named beside a caution."""
SHOWN = 5
"""So many things that may have been left out are told in full; the others by name."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = "Reads the build file and reports every mistake at once; then what such a build usually needs besides."
    checking = command(commands, "check", "what is wrong or missing in a build file", run, detail)
    add_file(checking)
    checking.add_argument("--all", action="store_true", help="tell all that may have been left out in full")


def run(options: argparse.Namespace) -> Answered[CheckAnswer | CannotBeUsed]:
    """Run the command; 1 when the file cannot be used."""
    from forecast.buildfile.cautions import hazards_asked
    from forecast.ledger.folder import BuildFolder
    from forecast.missing.left_out import NOTHING_MISSING, findings
    from forecast.views.quote_words import quotes_to_decide
    from forecast.views.rule_words import FIRST, THEN

    try:
        folder = BuildFolder.at(options.file)
        build = folder.read()
    except BuildFileError as error:
        problems: list[Mistake] = [
            {"where": item.where, "line": item.line, "found": item.found, "mend": item.mend}
            for item in error.problems
        ]
        return answer(options, str(error), {"ok": False, "problems": problems}, 1)
    suggestions = wide_ranges(build)
    standing = _standing(folder)
    begun = frozenset() if standing is None else standing.begun
    undecided: list[QuotesOfOneFigure | UndecidedChoice] = [
        *quotes_to_decide(build, begun, typed(options.file)),
        *_undecided_options(build, standing, typed(options.file)),
    ]
    every = [(item.narrow, _as_data(item)) for item in findings(build, begun)]
    odd = [item for _, item in every if item["grade"] == "odd"]
    found = [item for narrow, item in every if item["grade"] != "odd" and not narrow]
    narrow_ones = [item for narrow, item in every if item["grade"] != "odd" and narrow]
    text = [f"{build.name}: no mistakes. {_counts(build, standing)}"]
    if (
        standing is not None
        and not options.json
        and (over := finished_words(build, None, standing, standing.baseline))
    ):
        return answer_in_words(f"{text[0]}\n\n{over}")
    if odd:
        many = "One figure may be a slip" if len(odd) == 1 else f"{len(odd)} figures may be slips"
        text += ["", f"{many}. Is that meant?"]
        text += [f"  {item['text']}{_how(typed(options.file), item)}" for item in odd]
    if found:
        text += ["", *_missing_words(found, typed(options.file), every=options.all)]
    else:
        text += ["", NOTHING_MISSING]
    if narrow_ones:
        text += ["", *_narrow_words(narrow_ones, typed(options.file), every=options.all)]
    if suggestions:
        text += ["", "Ranges worth a second look:", *(f"  {item}" for item in suggestions)]
    if undecided:
        text += ["", "Quotes of which you will take one:", *(f"  {item['text']}" for item in undecided)]
    first, then, notes = _rules(build)
    if notes:
        text += ["", "What the terms of trade leave out or add:", *(f"  {note}" for note in notes)]
    for title, listed in ((FIRST, first), (THEN, then)):
        if listed:
            text += ["", f"{title}:", *(f"  {item['words']}" for item in listed)]
    asked = [one.sentence for one in hazards_asked(build)]
    if asked:
        text += ["", "By their names these may hurt somebody:", *(f"  {words}" for words in asked)]
    if build.build.notice:
        text += ["", build.build.notice]
    cautions, caution_words = _cautions(build)
    if caution_words:
        text += [
            "",
            "Cautions beside these lines, in short (in full with --json, and on the dashboard's page of lines); local "
            "rules and licensed practice decide:",
            *caution_words,
            f"Read? Then they are only counted: forecast cautions-read {typed(options.file)}, or with their names.",
        ]
    if told := _read_words(cautions):
        text += ["", told]
    return answer(
        options,
        "\n".join(text),
        {
            "ok": True,
            "problems": [],
            "questions": odd,
            "missing": found,
            "narrow": narrow_ones,
            "suggestions": suggestions,
            "undecided": undecided,
            "rules": [item["text"] for item in (*first, *then)],
            "rules_first": first,
            "notes": notes,
            "cautions": cautions,
            "hazards_asked": asked,
        },
    )


def _missing_words(found: list[CheckFinding], file: str, *, every: bool) -> list[str]:
    """Tell what may have been left out: the first in full, and the others by name, by how usual they are."""
    many = "thing" if len(found) == 1 else "things"
    what = f"{len(found)} {many} such a build usually needs besides"
    return _listed_words(what, found, file, every=every)


def _narrow_words(found: list[CheckFinding], file: str, *, every: bool) -> list[str]:
    """Tell which figures say less than is known of them."""
    what = "One figure may be too narrow" if len(found) == 1 else f"{len(found)} figures may be too narrow"
    return _listed_words(what, found, file, every=every)


def _listed_words(what: str, found: list[CheckFinding], file: str, *, every: bool) -> list[str]:
    shown = found if every else found[:SHOWN]
    first = "" if len(shown) == len(found) else f" The first {len(shown)}"
    told = [f"{what}{'.' if first else ''}{first}:"]
    told += [f"  {item['grade']:<8} {item['text']}{_how(file, item)}" for item in shown]
    for grade in dict.fromkeys(item["grade"] for item in found[len(shown) :]):
        names = [
            f"{item['missing']} ({item['rule']})" for item in found[len(shown) :] if item["grade"] == grade
        ]
        told += [f"  {grade:<8} besides: {'; '.join(names)}"]
    if first:
        told += [f"All in full: forecast check {file} --all"]
    return told


def _rules(build: Build) -> tuple[list[DoubtedRule], list[DoubtedRule], list[str]]:
    """Give the rule figures in use to look up first, those to look up besides, and what consignments note."""
    from forecast.engine.plan import compile_plan
    from forecast.engine.rule_weights import rule_weights
    from forecast.views.rule_words import to_look_up

    plan = compile_plan(build)
    found: tuple[list[DoubtedRule], list[DoubtedRule]] = ([], [])
    for item in plan.consignments:
        weights = rule_weights(build, item)
        for told, figures in zip(found, to_look_up(item.figures, weights), strict=True):
            told += [_doubted(item, figure, weights, plan.currency) for figure in figures]
    for told in found:
        told.sort(key=lambda one: (not one["only_a_range"], -one["amount"]))
    sure = [
        f"{figure.label}: {figure.note}"
        for item in plan.consignments
        for figure in item.figures
        if figure.note and not figure.doubts
    ]
    return *found, list(dict.fromkeys([*plan.notes, *sure]))


def _doubted(item: Expansion, figure: RuleUse, weights: Mapping[str, Weight], currency: str) -> DoubtedRule:
    """Say of a figure in doubt why, what else to know of it, and how much hangs on it."""
    from forecast.views.rule_words import hangs_on, with_note

    warned = {warning.figure: str(warning) for warning in item.warnings}
    warned |= {name.replace("arrival.", ""): text for name, text in warned.items()}
    why = warned.get(figure.id) or f"{figure.label} ({figure.value}) {' and '.join(figure.doubts)}."
    weight, text = weights.get(figure.id), with_note(why, figure)
    hangs = hangs_on(figure, weights, currency)
    return {
        "figure": figure.id,
        "consignment": item.consignment,
        "amount": 0.0 if weight is None else weight.amount,
        "only_a_range": figure.rough,
        "share": 0.0 if weight is None else weight.share,
        "text": text,
        "words": f"{hangs}: {text}" if hangs else text,
    }


def _how(file: str, item: CheckFinding) -> str:
    """Give the command that adds what is missing, or answers that it is not needed."""
    what = item["starter"] or (item["rule"] if item["one_command"] else "")
    add_it = f"forecast add {file} {what}" if what else ""
    edit_it = item["mend"].removesuffix(".")
    ways = [way for way in (add_it, edit_it, f"forecast not-needed {file} {item['rule']} --why '…'") if way]
    if item["grade"] == "odd":
        ways[-1] = f"if it is meant, {ways[-1]}"
    return f"\n           {'; or: '.join(ways)}"


def _counts(build: Build, known: Standing | None) -> str:
    """Say how many lines cost money in the way that is forecast, as the pages do, and what the file has in all."""
    from forecast.buildfile.choosing import scenario_title
    from forecast.buildfile.sheet import certainty
    from forecast.engine.plan import compile_plan
    from forecast.watching.reforecast import scenario_in_force
    from forecast.words.chances import so_many

    plan = compile_plan(build, scenario_in_force(build, None, None if known is None else known.baseline))
    costing = so_many(len(plan.counted({} if known is None else known.paid)), "line")
    way = ""
    if plan.scenario is not None and len(build.scenario) > 1:
        way = f" in \u201c{scenario_title(build, plan.scenario)}\u201d, the way that is forecast"
    verb = "costs" if costing == "1 line" else "cost"
    counts = certainty(build, build.line)
    others = len(build.line) - sum(counts.values())
    words = [f"{count} {how}" for how, count in counts.items() if count]
    words += [f"{others} that follow from others or are own work"] if others else []
    of_each = f" ({', '.join(words)})" if words else ""
    bought = [so_many(len(build.consignment), "consignment")] if build.consignment else []
    told = [
        *bought,
        f"{so_many(len(build.line), 'line')}{of_each}",
        so_many(len(build.event), "risk event"),
        so_many(len(build.cause), "shared cause"),
        so_many(len(build.scenario), "scenario"),
    ]
    for_all = " for all ways" if way else ""
    return f"{costing[:1].upper()}{costing[1:]} {verb} money{way}. The file has{for_all} {', '.join(told)}."


def _standing(folder: BuildFolder) -> Standing | None:
    """Give what is paid, agreed and said by now; None without a ledger."""
    from forecast.watching.standing import Record

    with suppress(LedgerError):  # what is wrong with the receipts is told where they are asked for
        if folder.has_ledger() or folder.not_entered() is not None:
            return Record.read(folder.ledger_to_read()).standing()
    return None


def _undecided_options(build: Build, known: Standing | None, file: str) -> list[UndecidedChoice]:
    """Ask which option is taken, of each choice that is not settled, for programs and for people."""
    if not build.option:
        return []
    from forecast.buildfile.choosing import offered, options_by_choice
    from forecast.decide.choices import about, settled

    found: list[UndecidedChoice] = []
    for choice, options in options_by_choice(build).items():
        if len(options) < 2 or settled(build, choice, known) is not None:
            continue
        real = offered(options)
        *most, last = (option.title for option in real)
        which = f"{', '.join(most)} or {last}. Which one do you take?" if most else f"{last}. Do you take it?"
        what = " and ".join(item.title for item in about(build, options))
        quoted = next((option for option in real if option.override or option.line), real[0])
        text = (
            f"{what}: {which} Until you say so, all answers but 'quotes' "
            f"and 'mix' count what the lines say. Say so: forecast quotes {file} {choice} --take {quoted.id}"
        )
        found.append({"choice": choice, "options": [option.id for option in real], "text": text})
    return found


def wide_ranges(build: Build) -> list[str]:
    """Name the ranges so lopsided that they hold two different outcomes."""
    from forecast.buildfile.checks import figures_of
    from forecast.figures.kinds import Percentiles

    found = []
    for item in (*build.line, *build.event):
        for key, figure in figures_of(item):
            if not isinstance(figure, Percentiles) or figure.starter:
                continue  # a starter's range is not the builder's to mend before it is theirs
            low, high = figure.middle / figure.low, figure.high / figure.middle
            if max(high / low, low / high) > 2:
                found.append(
                    f"{item.title}, {key} {figure.slashed('{:g}'.format)}: very lopsided. "
                    "Consider a narrower usual range, and a risk event for the bad case."
                )
    return found


def _as_data(item: Finding) -> CheckFinding:
    """Give what is missing, odd or narrow for programs."""
    cost: UsualRange | None = None
    if item.cost is not None:
        low, middle, high = item.cost
        cost = {"low": low, "middle": middle, "high": high}
    return {
        "rule": item.rule,
        "grade": item.grade,
        "missing": item.missing,
        "why": item.why,
        "cost": cost,
        "unit": item.unit,
        "source": item.source,
        "starter": item.starter,
        "line": item.line,
        "mend": item.mend,
        "one_command": item.starter is not None or item.change is not None,
        "text": str(item),
    }


def first_sentence(text: str) -> str:
    """Give the first sentence of a text."""
    head, stop, _ = text.partition(". ")
    return head + stop.strip()


def _read_words(cautions: list[CautionBeside]) -> str:
    """Count the cautions that were read; nothing where none was."""
    count = sum(item["read"] for item in cautions)
    if not count:
        return ""
    many = (
        "One caution that you have read stands"
        if count == 1
        else f"{count} cautions that you have read stand"
    )
    return f"{many} beside these lines too; local rules and licensed practice decide."


def _cautions(build: Build) -> tuple[list[CautionBeside], list[str]]:
    """Give the cautions that concern lines of the build, once each: for programs, and for people by kind."""
    from forecast.buildfile.cautions import KINDS_OF_CAUTIONS, cautions_of

    found = cautions_of(build)
    data: list[CautionBeside] = [
        {
            "id": caution.id,
            "topic": caution.topic,
            "text": caution.text,
            "authority": caution.authority,
            "source": caution.source,
            "lines": list(names),
            "read": caution.id in (build.build.cautions_read or ()),
        }
        for caution, names in found
    ]
    words = []
    for kind, heading in KINDS_OF_CAUTIONS.items():
        under = []
        for caution, names in found:
            if caution.kind != kind or caution.id in (build.build.cautions_read or ()):
                continue
            more = f" and {len(names) - _NAMES} more" if len(names) > _NAMES else ""
            under.append(
                f"    {caution.id}: {caution.topic} ({'; '.join(names[:_NAMES])}{more}): "
                f"{first_sentence(caution.text)} [{caution.authority}]"
            )
        words += [f"  {heading}:", *under] if under else []
    return data, words
