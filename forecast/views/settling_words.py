"""What is settled, in words: the state of a line, what a receipt did to its lines, and what is asked about it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from forecast.buildfile.changes import AddItem
from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.schema import Build
from forecast.engine.forecast import Forecast
from forecast.engine.plan import compile_plan
from forecast.errors import ForecastError
from forecast.ledger import Baseline, Commitment, Ledger, NewReceipt, Receipt
from forecast.ledger.entries import pair, same_supplier
from forecast.ledger.events import WORDS
from forecast.ledger.records import AgreementKind
from forecast.record.finishing import Finished
from forecast.views.off_estimate import estimate_words, is_known
from forecast.views.sentences import unusual_words
from forecast.watching.estimates import tenths, unusual
from forecast.watching.freezing import unusual_budget
from forecast.watching.importing import CalledLike, ImportResult
from forecast.watching.known_facts import EXTRAS
from forecast.watching.oddities import Odd, agreed_later_words, oddities
from forecast.watching.reforecast import LineWatch, Reforecast, scenario_in_force
from forecast.watching.settling import Agreement, Entered
from forecast.watching.standing import Standing
from forecast.words.chances import builds, listed, so_many
from forecast.words.day_words import long_day, short_day
from forecast.words.minor_units import to_float
from forecast.words.money import about, as_written, entered, exact
from forecast.words.text import ended

AGREEMENTS: Mapping[AgreementKind, str] = {"fixed": "Fixed price", "estimate": "Estimate, may still grow"}
"""The kinds of agreement, in words."""


PERHAPS_ALL = 0.5
"""Chance from which what was paid is said to be perhaps all: a first tin of filler is a part and no more."""


def of_100(chance: float) -> str:
    """Write how likely it is that what is paid is all: never as certain, for nobody said so."""
    return f"{min(99, max(1, round(100 * chance)))} of 100"


def state_words(line: LineWatch) -> str:
    """Say how a line or event stands: ``closed``, ``likely all paid (93 of 100)``; nothing where nothing happened."""
    if line.unforeseen:
        return "not foreseen, closed" if line.state == "closed" else "not foreseen"
    if line.state == "closed":
        return _closed_state(line)
    if line.more:
        return "more to come"
    if line.committed > 0:
        return "price agreed, part paid" if line.paid else "price agreed"
    if line.state == "untouched":
        return ""
    if line.settled is None:
        return "part paid"
    if line.looks_settled:
        return f"likely all paid ({of_100(line.settled)})"
    return "part paid" if line.settled < PERHAPS_ALL else f"part paid, perhaps all ({of_100(line.settled)})"


def _closed_state(line: LineWatch) -> str:
    """Tell what was paid for from what was never bought, never sold, or never happened."""
    if line.not_bought:
        return NOT_NEEDED
    if line.paid or line.happened or not (line.base or line.if_needed):
        return "closed"
    if line.kind == "event":
        return "cannot happen"
    return "not sold" if line.is_income else "closed"


def quoted(name: str, titles: Mapping[str, str]) -> str:
    """Write the title of a line in quotation marks, as it may have commas of its own."""
    return f"\u201c{titles.get(name, name)}\u201d"


def named(names: Sequence[str], titles: Mapping[str, str], most: int = 6) -> str:
    """Write the titles of lines one after the other; of many the first."""
    written = [quoted(name, titles) for name in names]
    if len(written) > most:
        return f"{', '.join(written[: most - 1])} and {len(written) - most + 1} others"
    return listed(written)


def looking_settled_sentence(watch: Reforecast) -> str:
    """Say which lines look settled; nothing where none does."""
    found = watch.looking_settled
    if not found:
        return ""
    titles = {line.id: line.title for line in watch.lines}
    noun = "line" if len(found) == 1 else "lines"
    return f"Looks settled: {len(found)} {noun}, {named(found, titles)}."


def share_of_closed_sentence(watch: Reforecast) -> str:
    """Ask whether events can still happen whose lines are all closed; nothing where there is none."""
    found = watch.share_of_closed
    if not found:
        return ""
    titles = {line.id: line.title for line in watch.lines}
    one = len(found) == 1
    verb, whom = ("is a", "it") if one else ("are each a", "they")
    return f"{named(found, titles)} {verb} share of lines that are all closed: can {whom} still happen?"


def unpaid_sentences(watch: Reforecast) -> list[str]:
    """Say of each share of what is not paid yet how much of it that still is."""
    titles, money, found = {line.id: line.title for line in watch.lines}, watch.currency, []
    for one in watch.unpaid_shares:
        title = quoted(one.id, titles)
        if one.unpaid > 0:
            sums = f"about {about(one.unpaid, money)} of {about(one.whole, money)}"
            found.append(f"{title} counts on what is not paid yet: {sums}.")
        elif one.kind == "event":
            found.append(f"{title} counts no more: all that it is a share of is paid.")
        else:
            found.append(f"{title} is in the sums that were charged: it counts no more.")
    return found + _margin_sentences(watch)


def _margin_sentences(watch: Reforecast) -> list[str]:
    """Say of lines paid abroad that their estimate holds the card's margin, which `open` has on a line of its own."""
    held = [
        line for line in watch.lines if as_written(watch.margin_held.get(line.id, 0.0), watch.currency) > 0
    ]
    if not held:
        return []
    whole = about(sum(watch.margin_held[line.id] for line in held), watch.currency)
    names = named([line.id for line in held], {line.id: line.title for line in held}, 3)
    if len(held) > 1:
        return [f"The estimates of {names} are told with the card's margin on what is paid, {whole} in all."]
    (line,) = held
    if is_known(line, watch.currency):  # to the digits of the table, which it stands beside
        whole = entered(watch.margin_held[line.id], watch.currency)
    estimate = estimate_words(line, watch.currency)
    return [
        f"The estimate of {names}, {estimate}, is told with the card's margin on what is paid, {whole} of it."
    ]


NOT_NEEDED = "not needed"
"""What is said, everywhere, of a line that was closed with nothing paid."""
NOT_HERE = "not in this scenario"
"""What is said, everywhere, of a line that the scenario in force leaves out."""
TAKEN_OUT = "taken out of the build"
"""What is said, everywhere, of what was paid for and stands in no way of the build any more."""


def beside_sentence(watch: Reforecast, most: int = 6) -> str:
    """Say what was paid for lines that the way which is forecast, or the build, does not have; nothing where none was.

    Of many lines the first are named, at most so many.
    """
    gone, paid, told = watch.known.taken_out, watch.known.outside, []
    found = {name: title for name, title in watch.not_in_this_way.items() if name not in gone}
    if found:
        lines = "1 line" if len(found) == 1 else f"{len(found)} lines"
        whole = entered(to_float(sum(paid[name] for name in found), watch.currency), watch.currency)
        names = named(list(found), found, most)
        told.append(
            f"Beside it, {whole} paid for {lines} {NOT_HERE}: {names}. It counts on top of the forecast."
        )
    if gone:
        verb, whom = ("is", "it") if len(gone) == 1 else ("are", "them")
        whole = entered(to_float(sum(paid[name] for name in gone), watch.currency), watch.currency)
        names = named(list(gone), gone, most)
        told.append(f"{names} {verb} {TAKEN_OUT}; {whole} was paid for {whom} and counts.")
    return " ".join(told)


def over_by_now_sentence(watch: Reforecast) -> str:
    """Ask whether what belongs to the way of the goods is over, now that its bills are settled; else nothing."""
    found = watch.over_by_now
    if not found:
        return ""
    titles = {line.id: line.title for line in watch.lines}
    return f"The bills of the way here are settled, those of customs too. Over by now: {named(found, titles, 5)}?"


def over_words(events: Sequence[str], lines: Sequence[str], titles: Mapping[str, str]) -> str:
    """Say of what it was kept that it cannot come any more."""
    told = [f"{quoted(name, titles)} {WORDS['cannot-happen']}: kept." for name in events]
    return " ".join(filter(None, (*told, closed_words(lines, (), titles, ""))))


def closed_words(
    closed: Sequence[str],
    settled: Sequence[Commitment],
    titles: Mapping[str, str],
    currency: str,
    work: Collection[str] = (),
    income: Collection[str] = (),
    unpaid: Collection[str] = (),
) -> str:
    """Say which lines are closed now, and which agreed prices ended with them.

    `work` names lines of own hours alone, for which nothing is paid in any case; `income` those that bring money in;
    `unpaid` those for which nothing was: see `settling.never_paid`.
    """
    worked = [name for name in closed if name.endswith(".own_hours") or name in work]
    closed = [name for name in closed if name not in worked]
    told = []
    if worked:
        told.append(f"{named(worked, titles)} {'is' if len(worked) == 1 else 'are'} done.")
    if needless := [name for name in closed if name in unpaid]:
        verb, whom = ("is", "it") if len(needless) == 1 else ("are", "them")
        told.append(f"{named(needless, titles)} {verb} {NOT_NEEDED}: nothing will be paid for {whom}.")
    closed = [name for name in closed if name not in needless]
    paid_for = [name for name in closed if name not in income]
    for names, what in (
        (paid_for, "be paid"),
        ([name for name in closed if name in income], "come in"),
    ):
        if names:
            verb, whom = ("is", "it") if len(names) == 1 else ("are", "them")
            told.append(f"{named(names, titles)} {verb} closed: nothing more will {what} for {whom}.")
    told += [
        f"With that ends the price agreed with {item.supplier} for {quoted(item.line_id, titles)}; "
        f"{exact(item.outstanding_minor, currency)} of it was not paid."
        for item in settled
    ]
    return " ".join(told)


def follows_words(closed: Sequence[str], more: Sequence[str], titles: Mapping[str, str]) -> str:
    """Say which lines are closed now and of which more is to come; nothing where of none."""
    told = closed_words(closed, (), titles, "")
    rest = f"More is to come for {named(more, titles)}." if more else ""
    return " ".join(filter(None, (told, rest)))


def paid_words(receipt: Receipt, *, sold: bool = False) -> str:
    """Say what was paid to whom, or what came back from whom; what was sold came from its buyer, and not back."""
    if receipt.paid_minor < 0:
        back = "" if sold else "back "
        return f"{exact(-receipt.paid_minor, receipt.paid_currency)} {back}from {receipt.supplier}"
    return f"{exact(receipt.paid_minor, receipt.paid_currency)} to {receipt.supplier}"


def for_words(receipt: Receipt, titles: Mapping[str, str]) -> str:
    """Say for what a receipt was: ``for “Tyres”``; of many lines the first."""
    return f"for {named(list(dict.fromkeys(split.line_id for split in receipt.splits)), titles, 3)}"


def parts_words(receipt: Receipt, titles: Mapping[str, str], currency: str) -> str:
    """Say how a receipt was shared out over its lines."""
    parts = [
        f"{quoted(split.line_id, titles)} {exact(split.amount_minor, currency)}" for split in receipt.splits
    ]
    return f"Shared out: {', '.join(parts)}."


def imported_words(result: ImportResult, titles: Mapping[str, str]) -> str:
    """Say what an import did to agreed prices and to lines; nothing where it did nothing."""
    against = sum(receipt.commitment_id is not None for receipt in result.entered)
    paid = f"{against} {'counts' if against == 1 else 'count'} against agreed prices." if against else ""
    return " ".join(filter(None, (paid, follows_words(result.closed, result.more, titles))))


def entered_words(
    entered: Entered, titles: Mapping[str, str], currency: str, income: Collection[str] = ()
) -> str:
    """Say what a receipt did to its lines and to an agreed price; nothing where it did nothing.

    `income` names lines that bring money in.
    """
    told = []
    agreement, ended = entered.agreement, {item.id for item in entered.settled}
    if agreement is not None and agreement.id not in ended:
        price = f"the price agreed with {agreement.supplier} for {quoted(agreement.line_id, titles)}"
        if entered.receipt.paid_minor < 0:
            told.append(f"It is taken off what was paid towards {price}.")
        elif agreement.outstanding_minor:
            rest = exact(agreement.outstanding_minor, currency)
            told.append(f"It counts against {price}: {rest} is still to pay.")
        else:
            over = round(agreement.expected_minor * (agreement.share - 1))
            beyond = f", and {exact(over, currency)} beyond it" if over > 0 else ""
            told.append(f"It pays {price} in full{beyond}.")
    agreed = agreement.line_id if agreement is not None and agreement.outstanding_minor else None
    more = [name for name in entered.more if name != agreed]
    told.append(closed_words(entered.closed, entered.settled, titles, currency, (), income))
    told.append(follows_words((), more, titles))
    if entered.stay:
        was = "was closed before and stays so" if len(entered.stay) == 1 else "were closed before and stay so"
        told.append(f"{named(entered.stay, titles)} {was}.")
    told += [f"{quoted(name, titles)} happened after all." for name in entered.happened]
    return " ".join(filter(None, told))


def receipt_words(
    entered: Entered,
    build: Build,
    ledger: Ledger,
    titles: Mapping[str, str],
    scenario: str | None = None,
    *,
    added: Sequence[str] = (),
    documents: Sequence[str] = (),
    shared: bool = False,
) -> str:
    """Say what was entered and all that follows from it, on the page as in the terminal.

    Parameters
    ----------
    entered : Entered
    build : Build
        With the lines that were made for it.
    ledger : Ledger
    titles : mapping of str to str
    scenario : str, optional
        As for `beside_words`.
    added : sequence of str
        Ids of lines made for what nobody told of.
    documents : sequence of str
        Names of what is kept with it.
    shared : bool
        Whether parts were shared out, and so stand nowhere yet.
    """
    receipt, currency = entered.receipt, build.build.currency
    kept = f"{documents[0]}{f' and {len(documents) - 1} more' if documents[1:] else ''}" if documents else ""
    lines = {split.line_id for split in receipt.splits}
    sold = build.income.issuperset(lines)
    told = (
        f"Receipt {receipt.id}: {paid_words(receipt, sold=sold)} on {short_day(receipt.date)}, "
        f"{for_words(receipt, titles)}.",
        f"New in the build file: {named(added, titles)}." if added else "",
        f"Kept with it: {kept}." if kept else "",
        parts_words(receipt, titles, currency) if shared else "",
        entered_words(entered, titles, currency, build.income.intersection(entered.closed)),
        overrun_words(entered, build, ledger, titles),
        beside_words((split.line_id for split in receipt.splits), build, ledger, scenario),
    )
    return " ".join(filter(None, told))


NOT_FROZEN = (
    "No budget is frozen yet. Freeze the sum that you commit to, and what you add later is told apart from what came "
    "in dearer."
)
"""Said once something is paid or agreed."""


def frozen_words(baseline: Baseline, build: Build, *, strong: str = "") -> str:
    """Say what budget was frozen, when, for which way of several, and what that does.

    Parameters
    ----------
    baseline : Baseline
    build : Build
    strong : str
        Mark put before and after the sum.
    """
    sum_ = entered(to_float(baseline.budget_minor, baseline.currency), baseline.currency)
    way = baseline.scenario
    of = f" for the way “{scenario_title(build, way)}”" if way is not None and len(build.scenario) > 1 else ""
    frozen = f"Frozen on {long_day(baseline.date)}: {strong}{sum_}{strong}{of}."
    return f"{frozen} From now on the build is measured against it."


def freeze_question(now: Forecast, budget_minor: int, currency: str) -> str:
    """Ask whether a sum is meant that is hardly a budget; nothing where it may well be one.

    Parameters
    ----------
    now : Forecast
        As things stand.
    budget_minor : int
    currency : str
        The build's.
    """
    budget = to_float(budget_minor, currency)
    odd = unusual_budget(now, budget)
    if odd is None:
        return ""
    sum_ = entered(budget, currency)
    if odd == "too little":
        half = now.percentile(0.5)
        told = f"is enough in {builds(now.chance_within(budget).value)}: half of them cost more than"
        return f"{sum_} {told} {about(half.value, currency, half.error)}. Is that meant?"
    most = now.percentile(0.9)
    told = "is more than three times what 90 of 100 builds cost at most"
    return f"{sum_} {told}: {about(most.value, currency, most.error)}. Is that meant?"


def in_its_place_words(earlier: Baseline | None) -> str:
    """Say which frozen budget another takes the place of; nothing where it is the first."""
    if earlier is None:
        return ""
    sum_ = entered(to_float(earlier.budget_minor, earlier.currency), earlier.currency)
    return f"It takes the place of {sum_}, frozen on {long_day(earlier.date)}."


def settled_lines_words(settled: int, lines: int) -> str:
    """Say how many lines are closed or look settled, and that the build can be ended."""
    many = "All lines are" if settled == lines else f"{settled} of {lines} lines are"
    return f"{many} closed, or look settled. When the car is done, close all that is open."


def finish_question(found: Finished, currency: str) -> str:
    """Say what ends with a build, and ask whether it is done; nothing to ask where all is closed already.

    Parameters
    ----------
    found : Finished
        As `to_finish` gives it.
    currency : str
        The build's.
    """
    if not found.closed and not found.ruled_out:
        return ""
    lines, ruled_out, missing = found.lines, found.ruled_out, found.never_paid
    told = []
    if lines:
        told.append(f"{lines} open {'line closes' if lines == 1 else 'lines close'}")
    if found.risks:
        told.append(
            f"{so_many(len(found.risks), 'risk')} that came {'closes' if not found.risks[1:] else 'close'}"
        )
    if ruled_out:
        told.append(f"{len(ruled_out)} {'risk' if len(ruled_out) == 1 else 'risks'} can happen no more")
    words = [
        f"{', '.join(told[:-1])}, and {told[-1]}." if told[1:] else f"{told[0]}.",
        f"The build then cost what is paid: {exact(found.paid_minor, currency)}.",
    ]
    if missing:
        one = len(missing) == 1
        which = "" if one else f"{len(missing)} lines that were sure to be needed: "
        they, figures = ("it counts", "its middle figure") if one else ("they count", "their middle figures")
        middles = about(found.never_paid_middle, currency)
        words.append(
            f"Nothing was paid for {which}{named(list(missing), missing)}. From then on {they} nothing, in place of "
            f"{middles} at {figures}.{_given_up_before(found)}"
        )
    if found.came_unpaid:
        words.append(_came_unpaid(found))
    if found.agreed_minor:
        words.append(
            f"{exact(found.agreed_minor, currency)} of prices agreed is not paid, and counts nothing then."
        )
    return f"{' '.join(words)} One undo takes all of it back. Is the build done?"


def finished_words(done: Finished) -> str:
    """Say what was closed because the build is done, by number, and for what nothing was ever paid, by name."""
    lines, ruled_out, missing = done.lines, done.ruled_out, done.never_paid
    told = []
    if lines:
        told.append(f"{lines} {'line that was open is' if lines == 1 else 'lines that were open are'} closed")
    if done.risks:
        told.append(
            f"{so_many(len(done.risks), 'risk')} that came {'is' if not done.risks[1:] else 'are'} closed"
        )
    if ruled_out:
        told.append(f"{len(ruled_out)} {'risk' if len(ruled_out) == 1 else 'risks'} can happen no more")
    words = f"{', '.join(told)}." if told else "All was closed already."
    if missing:
        one = len(missing) == 1
        bought = "it was" if one else "one of them was"
        which = "" if one else f"{len(missing)} lines that were sure to be needed: "
        words += (
            f" Nothing was paid for {which}{named(list(missing), missing)}. If {bought} bought, take this back, "
            f"enter the receipt, and finish again.{_given_up_before(done)}"
        )
    return " ".join(filter(None, (words, _came_unpaid(done))))


def _given_up_before(found: Finished) -> str:
    """Say how many such lines there are with those closed before: so many the end counts."""
    if not found.given_up:
        return ""
    was = "was" if found.given_up == 1 else "were"
    return f" {found.given_up} more {was} closed before: {found.given_up + len(found.never_paid)} in all."


def _came_unpaid(found: Finished) -> str:
    """Name the risks that happened and of which no receipt is there; nothing where there is none."""
    came = found.came_unpaid
    if not came:
        return ""
    return (
        f"{named(list(came), came)} happened, and nothing was paid for {'it' if len(came) == 1 else 'them'}."
    )


def beside_words(
    names: Iterable[str], build: Build, ledger: Ledger | None, scenario: str | None = None
) -> str:
    """Say which of the lines just paid are not in the way that is forecast; nothing where all are.

    Parameters
    ----------
    names : iterable of str
    build : Build
    ledger : Ledger or None
    scenario : str, optional
        The one that is looked at; when left out, the one that `forecast watch` takes.
    """
    way = scenario_in_force(build, scenario, None if ledger is None else ledger.baseline())
    try:
        plan = compile_plan(build, way)
    except ForecastError:  # a build that cannot be simulated can be paid for
        return ""
    found = [name for name in dict.fromkeys(names) if name in plan.absent]
    if not found or plan.scenario is None:
        return ""
    verb, whom = ("is", "it") if len(found) == 1 else ("are", "them")
    here = f"{NOT_HERE}, \u201c{scenario_title(build, plan.scenario)}\u201d"
    return f"{named(found, plan.absent)} {verb} {here}: what is paid for {whom} comes on top of the forecast."


def overrun_words(entered: Entered, build: Build, ledger: Ledger, titles: Mapping[str, str]) -> str:
    """Say of a bill beyond its agreed price which event that may be; nothing where there is none.

    An event that is a share of what is not paid yet counts no part of this bill; any other would count on top, though
    what it cost is paid.
    """
    agreement = entered.agreement
    if agreement is None or agreement.share <= 1 or agreement.outstanding_minor:
        return ""
    said = ledger.event_states()
    events = [
        event
        for event in build.event
        if agreement.line_id in event.of and (event.id not in said or said[event.id].state == "open")
    ]
    ahead = [event.id for event in events if event.percent is not None and not event.paid_too]
    found = [event.id for event in events if event.id not in ahead]
    if ahead:
        counts = "counts" if len(ahead) == 1 else "count"
        here = f"The bill is over the price agreed. {named(ahead, titles)} {counts} on what is not paid yet alone."
        return here if not found else f"{here} {named(found, titles)} may have happened too."
    if not found:
        return ""
    return (
        f"The bill is over the price agreed: {named(found, titles)} may have happened, and what it cost is paid here. "
        "Then say that it cannot happen any more, else it counts twice."
    )


def happened_words(name: str, ledger: Ledger) -> str:
    """Say how an event that happened counts from now on, where nothing was paid for it."""
    if ledger.paid_by_line().get(name):
        return ""
    return (
        "It counts at its estimate until its receipts come. If what it cost is in receipts of other lines, close it: "
        "nothing more comes for it then."
    )


def known_words(standing: Standing | None, currency: str, name: str = "") -> str:
    """Say beside an estimate what was paid and agreed since; nothing where nothing was.

    Parameters
    ----------
    standing : Standing or None
    currency : str
    name : str
        Of one line or event; of all of them when left out.
    """
    if standing is None:
        return ""
    paid, due = (
        found.get(name, 0) if name else sum(found.values()) for found in (standing.paid, standing.committed)
    )
    told = [f"{exact(paid, currency)} is paid"] if paid else []
    if due:
        told.append(f"{exact(due, currency)} {'more ' if paid else ''}is agreed")
    if not told:
        return ""
    ended = ", and it is closed" if name in standing.closed else ""
    return f"That is your estimate, and no receipt changes it. By now {' and '.join(told)}{ended}."


def taken_back_words(lines: Sequence[str], titles: Mapping[str, str]) -> str:
    """Say of which lines no longer holds what was said with a receipt that is taken back; nothing where of none."""
    if not lines:
        return ""
    return f"What was said with it of {named(lines, titles)} is taken back too."


def extras_sentence(watch: Reforecast) -> str:
    """Say why a price agreed still has a range; nothing where none counts so."""
    if watch.finished or not watch.known.facts.agreed:
        return ""
    return (
        f"Extras may still come on a price agreed: in {extras_words('fixed')} where it is fixed, in "
        f"{extras_words('estimate')} where it is an estimate."
    )


def extras_words(kind: AgreementKind) -> str:
    """Write in how many builds extras come on a price agreed."""
    return f"{100 * EXTRAS[kind]:.0f} of 100 builds"


def kept_words(done: Sequence[Agreement]) -> str:
    """Say in a few words what was just agreed."""
    kept = [
        f"{exact(one.commitment.amount_minor, one.commitment.currency)} agreed with {one.commitment.supplier}"
        for one in done
    ]
    return ended(f"Kept: {listed(kept)}")


def agreed_words(agreement: Agreement, titles: Mapping[str, str], currency: str) -> str:
    """Say what was just agreed, and what follows from it."""
    item = agreement.commitment
    title = quoted(item.line_id, titles)
    told = (
        f"Kept: {exact(item.amount_minor, item.currency)} agreed with {item.supplier} for {title}, "
        f"{'a fixed price' if item.kind == 'fixed' else 'an estimate that may still grow'}. "
        f"The forecast still counts with extras in {extras_words(item.kind)}."
    )
    told += f" {title} was closed and is open again." if agreement.opened else ""
    if agreement.paid_before:
        paid = exact(agreement.paid_before, currency)
        told += (
            f" {paid} was paid to {item.supplier} for {title} before and comes on top of this price. If the price has "
            "it in it, undo this and agree what was left to pay."
        )
    return told


def taken_words(
    done: Sequence[Agreement], titles: Mapping[str, str], currency: str, more: Sequence[str] = ()
) -> str:
    """Say what the quote that is taken made agreed, and what of it the build file does not hold yet.

    Parameters
    ----------
    done : sequence of Agreement
    titles : mapping of str to str
    currency : str
        The build's.
    more : sequence of str
        Titles of lines and risks that only this quote brings.
    """
    told = " ".join(agreed_words(one, titles, currency) for one in done)
    if more:
        listed = " and ".join(f"\u201c{title}\u201d" for title in more)
        verb = "counts once it stands" if len(more) == 1 else "count once they stand"
        told += f" {listed} {verb} among the lines and risks of the build file."
    return told


def question(
    build: Build,
    ledger: Ledger | None,
    receipt: NewReceipt,
    titles: Mapping[str, str],
    added: Sequence[AddItem] = (),
    *,
    like: bool = True,
) -> str:
    """Ask about what is odd in a receipt before it is entered; nothing where all is usual.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
    receipt : NewReceipt
        Fit to be entered.
    titles : mapping of str to str
    added : sequence of AddItem, optional
        The lines that are to be made for it.
    like : bool
        Whether to ask about a supplier called like one with whom a price is agreed; else `same_shop_question` does.
    """
    currency = build.build.currency
    told = []
    if not _as_agreed(ledger, receipt):
        told += unusual_words(unusual(build, map(pair, receipt.splits)), currency)
    return _meant(
        [
            *told,
            *(
                _odd_words(one, titles, currency)
                for one in oddities(build, ledger, receipt, added)
                if like or one.kind != "called-like"
            ),
        ]
    )


def same_shop_question(odd: Odd, titles: Mapping[str, str], currency: str) -> str:
    """Ask whether a supplier is the one called like it, with whom a price is agreed; both answers are usual."""
    return (
        f"A price for {quoted(odd.line_id, titles)} is agreed with {odd.supplier}, {exact(odd.minor, currency)} of it "
        f"still to pay. Is {odd.typed} the same shop? From another one this comes on top."
    )


def agreed_question(
    build: Build,
    ledger: Ledger | None,
    line: str,
    supplier: str,
    price: tuple[int, str],
    at_home: int | None,
    titles: Mapping[str, str],
) -> str:
    """Ask about what is odd in a price agreed before it is entered; nothing where all is usual.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
    line, supplier : str
    price : tuple of int and str
        In minor units, and its currency.
    at_home : int or None
        What it should come to in the build's currency, where that is known.
    titles : mapping of str to str
    """
    currency = build.build.currency
    told = [] if at_home is None else unusual_words(unusual(build, [(line, at_home)]), currency)
    for item in () if ledger is None else ledger.list_commitments():
        if (
            item.line_id == line
            and (item.amount_minor, item.currency) == price
            and same_supplier(item.supplier, supplier)
        ):
            told.append(
                f"price agreed no. {item.id} is the same: {item.supplier}, {short_day(item.date)}, {exact(*price)} for "
                f"{quoted(line, titles)}, and this comes on top"
            )
            break
    return _meant(told)


def _meant(told: Sequence[str]) -> str:
    asked = "; ".join(told)
    return f"{asked[0].upper()}{asked[1:]}. Is that meant?" if asked else ""


def tenth_question(build: Build, ledger: Ledger | None, receipt: NewReceipt, settles: Collection[str]) -> str:
    """Ask about a payment that closes a line at about a tenth of what it was thought to cost; nothing for others.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
    receipt : NewReceipt
        Fit to be entered.
    settles : collection of str
        The lines of which it is said that this is all.
    """
    if receipt.kind not in ("payment", "balance") or _as_agreed(ledger, receipt):
        return ""
    parts = [(line, minor) for line, minor in map(pair, receipt.splits) if line in settles]
    currency = build.build.currency
    told = [
        f"{entered(one.paid, currency)} is all for {one.title}: the least you expected was about "
        f"{about(one.low, currency)}, and ten times this bill would fit"
        for one in tenths(build, parts, {} if ledger is None else ledger.paid_by_line())
    ]
    return f"{'; '.join(told)}. Is that meant?" if told else ""


def _as_agreed(ledger: Ledger | None, receipt: NewReceipt) -> bool:
    """Tell whether a receipt pays no more than what is left of a price agreed, which was asked about then."""
    agreed = None if ledger is None or receipt.kind == "refund" else ledger.counts_against(receipt)
    paid = sum(abs(minor) for _, minor in map(pair, receipt.splits))
    return agreed is not None and paid <= agreed.outstanding_minor


def called_like_question(like: CalledLike, titles: Mapping[str, str], currency: str) -> str:
    """Ask of all rows of one supplier in a bank's file whether that is the one with whom a price is agreed."""
    numbers = listed([str(number) for number in like.rows])
    rows = f"Row {numbers} is" if len(like.rows) == 1 else f"Rows {numbers} are"
    return f"{rows} of {listed(like.names)}: {_odd_words(like.odd, titles, currency)}."


def _odd_words(odd: Odd, titles: Mapping[str, str], currency: str) -> str:
    title = quoted(odd.line_id, titles)
    if odd.kind == "cannot-happen" and odd.date is not None:
        return (
            f"on {short_day(odd.date)} you said that {title} cannot happen, and with this receipt it happened"
        )
    if odd.receipt is not None:
        same = odd.receipt
        lines = named([split.line_id for split in same.splits], titles)
        money = exact(same.amount_minor, same.currency)
        return f"receipt {same.id} is the same: {same.supplier}, {short_day(same.date)}, {money} for {lines}"
    if odd.kind == "told-of":
        one = len(odd.open_lines) == 1
        which, their = (
            ("stands open and unpaid", "its estimate")
            if one
            else ("stand open and unpaid", "their estimates")
        )
        return (
            f"\u201c{odd.title}\u201d sounds like {named(odd.open_lines, titles)}, which {which}: on a new line it "
            f"comes on top of {their}"
        )
    if odd.kind == "another":
        due = exact(odd.minor, currency)
        return (
            f"a price for {title} is agreed with {odd.supplier}, {due} of it still to pay: from anybody else this "
            "comes on top"
        )
    if odd.kind == "called-like":
        due = exact(odd.minor, currency)
        return (
            f"a price for {title} is agreed with {odd.supplier}, {due} of it still to pay: do you mean {odd.supplier}? "
            f"From another {odd.typed} this comes on top"
        )
    if odd.kind == "agreed-later":
        return agreed_later_words(odd, title, currency)
    if odd.kind == "again":
        paid = exact(odd.minor, currency)
        stands = "is closed" if odd.closed else "looks settled"
        return f"{title} {stands}, with {paid} paid for it: this comes on top, as if it were bought twice"
    if not odd.minor:
        return f"nothing was paid for {title} so far, so nothing can come back"
    return f"more comes back for {title} than the {exact(odd.minor, currency)} that was paid"
