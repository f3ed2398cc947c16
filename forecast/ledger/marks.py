"""What is settled without money moving: lines closed, events, what is left to buy, baselines."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from datetime import date, datetime

from forecast.errors import LedgerError
from forecast.ledger.records import Baseline, EventState, Mark, StillToBuy
from forecast.ledger.store import Store, clean, new_key, stands, until
from forecast.ledger.stored import stored_currency, stored_day, stored_moment, stored_table, stored_whole
from forecast.words.day_words import said_day
from forecast.words.minor_units import exponent, is_sum, sum_words

_STATES = {
    "open": "is open",
    "closed": "is closed",
    "more": "has more to come",
    "happened": "happened",
    "cannot-happen": "cannot happen any more",
}


class Marks(Store):
    """The part of the ledger that keeps states of lines and events."""

    def close_line(
        self, line_id: str, date: date | str | None = None, note: str = "", *, anyway: bool = False
    ) -> Mark:
        """Say that nothing more will be paid for a line, from a day on.

        Parameters
        ----------
        line_id : str
        date : date or str, optional
            Today when left out.
        note : str, optional
        anyway : bool
            Also where a later word says otherwise, so that this one changes nothing now: for rows of a file, which may
            stand in any order.

        Raises
        ------
        LedgerError
            If a later word says otherwise, or the file cannot be written.
        """
        return self._mark("line", line_id, "closed", date, note, anyway=anyway)

    def reopen_line(
        self, line_id: str, date: date | str | None = None, note: str = "", *, anyway: bool = False
    ) -> Mark:
        """Say that more may be paid for a line after all, from a day on; see `close_line`."""
        return self._mark("line", line_id, "open", date, note, anyway=anyway)

    def expect_more(
        self, line_id: str, date: date | str | None = None, note: str = "", *, anyway: bool = False
    ) -> Mark:
        """Say that more is to come for a line, beside what was paid; as for `close_line`."""
        return self._mark("line", line_id, "more", date, note, anyway=anyway)

    def mark_event(
        self,
        event_id: str,
        state: EventState,
        date: date | str | None = None,
        note: str = "",
        *,
        anyway: bool = False,
    ) -> Mark:
        """Say that a risk event happened, cannot happen, or is open after all, from a day on; see `close_line`.

        Raises
        ------
        LedgerError
            If the state is none of these, or a later word says otherwise.
        """
        if state not in ("open", "happened", "cannot-happen"):
            message = f"event {event_id!r}: state {state!r}. Legal are open, happened and cannot-happen."
            raise LedgerError(message)
        return self._mark("event", event_id, state, date, note, anyway=anyway)

    def line_states(self, as_of: date | str | None = None) -> dict[str, Mark]:
        """Give the last mark of each line that ever got one, as it stood on a day."""
        return self._last_marks("line", as_of)

    def closed_lines(self, as_of: date | str | None = None) -> frozenset[str]:
        """Give the lines that are closed on a day."""
        marks = self._last_marks("line", as_of)
        return frozenset(line for line, mark in marks.items() if mark.state == "closed")

    def event_states(self, as_of: date | str | None = None) -> dict[str, Mark]:
        """Give the last mark of each event that ever got one, as it stood on a day."""
        return self._last_marks("event", as_of)

    def list_marks(self, as_of: date | str | None = None) -> tuple[tuple[str, Mark], ...]:
        """List all marks of lines and events by date, as ("line" or "event", mark)."""
        marks = [(kind, mark) for kind in ("line", "event") for mark in self._marks(kind, as_of)]
        return tuple(sorted(marks, key=lambda pair: pair[1].date))  # of one day, as they were entered

    def say_still_to_buy(
        self,
        line_id: str,
        amount_minor: int,
        date: date | str | None = None,
        note: str = "",
        *,
        anyway: bool = False,
    ) -> StillToBuy:
        """Say how much is left to buy of a part-bought line, on top of what was paid.

        Parameters
        ----------
        line_id : str
        amount_minor : int
            In minor units of the build's currency.
        date : date or str, optional
            As of when; today when left out.
        note : str, optional
        anyway : bool
            Also where the line is closed or a later word says otherwise, as in `close_line`.

        Raises
        ------
        LedgerError
            If the amount is no whole number of minor units, or negative; if the line is closed, or a later word
            says otherwise, so that this one would change nothing.
        """
        if not is_sum(amount_minor) or amount_minor < 0:
            wrong = "cannot be below zero" if is_sum(amount_minor) else "is too large a sum, or none"
            message = f"line {line_id!r}: what is left to buy {wrong}. Say 0 or more; or close the line."
            raise LedgerError(message)
        line_id, note = _named(line_id, "line"), clean(note, lines=True)
        day, (at, who) = self._day(date), self._stamp()
        with self._writing() as connection:
            if not anyway:
                self._refuse_closed(connection, line_id)
                later = connection.execute(
                    "SELECT max(as_of) FROM still_to_buy WHERE line_id = ? AND as_of > ?"
                    f" AND {stands('still_to_buy')}",
                    (line_id, day),
                ).fetchone()[0]
                if later is not None:
                    self._refuse(
                        f"{line_id}: what is left was said for {said_day(later)} too, which counts from then on; said "
                        f"for {said_day(day)}, it would change nothing now",
                        f"Leave the date out, or give {said_day(later)} or later",
                    )
            connection.execute(
                "INSERT INTO still_to_buy (entry_key, as_of, line_id, amount_minor, note, recorded_at, who)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (new_key(), day, line_id, amount_minor, note, at, who),
            )
        return StillToBuy(line_id, amount_minor, _date(day), note, datetime.fromisoformat(at), who)

    def still_to_buy(self, as_of: date | str | None = None) -> dict[str, StillToBuy]:
        """Give the last word on how much is left of each line, as it stood on a day."""
        return {item.line_id: item for item in self.list_still_to_buy(as_of)}

    def list_still_to_buy(self, as_of: date | str | None = None) -> tuple[StillToBuy, ...]:
        """List all that was ever said to be left to buy, by date."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT line_id, amount_minor, as_of, note, recorded_at, who FROM still_to_buy"
                f" WHERE as_of <= ? AND {stands('still_to_buy')} ORDER BY as_of, id",
                (until(as_of),),
            ).fetchall()
            return tuple(
                StillToBuy(
                    row[0], stored_whole(row[1]), stored_day(row[2]), row[3], stored_moment(row[4]), row[5]
                )
                for row in rows
            )

    def freeze_baseline(
        self,
        budget_minor: int,
        currency: str,
        *,
        fingerprint: str,
        build_text: str,
        seed: int,
        trials: int,
        base_by_line: Mapping[str, int],
        scenario: str | None = None,
        date: date | str | None = None,
        note: str = "",
        entry_key: str | None = None,
    ) -> Baseline:
        """Keep the budget as committed, with the build as it was.

        Parameters
        ----------
        budget_minor, currency : int, str
            The sum committed to, in the build's currency.
        fingerprint, build_text : str
            The build's fingerprint, and its file word for word.
        seed, trials : int
            What the simulation was run with.
        base_by_line : mapping of str to int
            Base figure of each line, minor units.
        scenario : str, optional
            The scenario in force.
        date, note, entry_key : optional
            As for receipts.

        Raises
        ------
        LedgerError
            If the budget is no whole sum above zero in the build's currency, or the file cannot be written.
        """
        exponent(currency)
        if not is_sum(budget_minor) or budget_minor <= 0:
            message = f"budget: {sum_words(budget_minor, currency)} can be none. Say a sum above zero."
            raise LedgerError(message)
        key, day = clean(entry_key) if entry_key else new_key(), self._day(date)
        note = clean(note, lines=True)
        figures = json.dumps(dict(base_by_line))
        with self._writing() as connection:
            known = self._settle_currency(connection, currency)
            if known != currency:
                self._refuse(
                    f"a budget in {currency}, but the build counts in {known}", f"Give it in {known}"
                )
            there = connection.execute(
                f"SELECT 1 FROM baseline WHERE entry_key = ? AND {stands('baseline')}", (key,)
            ).fetchone()
            if there is None:
                connection.execute(
                    "INSERT INTO baseline (entry_key, as_of, budget_minor, currency, fingerprint,"
                    " build_text, seed,"
                    " trials, base_by_line, scenario, note, recorded_at, who)"
                    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        key,
                        day,
                        budget_minor,
                        currency,
                        fingerprint,
                        build_text,
                        seed,
                        trials,
                        figures,
                        scenario,
                        note,
                        *self._stamp(),
                    ),
                )
        return next(item for item in self.list_baselines() if item.entry_key == key)

    def list_baselines(self, as_of: date | str | None = None) -> tuple[Baseline, ...]:
        """List all baselines by date."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT id, entry_key, as_of, budget_minor, currency, fingerprint, build_text, seed, trials,"
                " base_by_line, scenario, note, recorded_at, who FROM baseline"
                f" WHERE as_of <= ? AND {stands('baseline')} ORDER BY as_of, id",
                (until(as_of),),
            ).fetchall()
            return tuple(
                Baseline(
                    id=row[0],
                    entry_key=row[1],
                    date=stored_day(row[2]),
                    budget_minor=stored_whole(row[3]),
                    currency=stored_currency(row[4]),
                    fingerprint=row[5],
                    build_text=row[6],
                    seed=row[7],
                    trials=row[8],
                    base_by_line=stored_table(row[9]),
                    scenario=row[10],
                    note=row[11],
                    recorded_at=stored_moment(row[12]),
                    who=row[13],
                )
                for row in rows
            )

    def baseline(self, as_of: date | str | None = None) -> Baseline | None:
        """Give the baseline in force on a day: the last one frozen; None before the first."""
        found = self.list_baselines(as_of)
        return found[-1] if found else None

    def _refuse_closed(self, connection: sqlite3.Connection, line_id: str) -> None:
        last = connection.execute(
            f"SELECT state, as_of FROM line_mark WHERE line_id = ? AND {stands('line_mark')}"
            " ORDER BY as_of DESC, id DESC LIMIT 1",
            (line_id,),
        ).fetchone()
        if last is not None and last[0] == "closed":
            self._refuse(
                f"{line_id} is closed since {said_day(last[1])}: nothing more will be paid for it, "
                "so nothing is left to buy",
                "Open the line again first, then say what is left",
            )

    def _mark(
        self, kind: str, subject: str, state: str, given: date | str | None, note: str, *, anyway: bool
    ) -> Mark:
        subject, note = _named(subject, kind), clean(note, lines=True)
        day, (at, who) = self._day(given), self._stamp()
        with self._writing() as connection:
            last = connection.execute(
                f"SELECT state, as_of FROM {kind}_mark WHERE {kind}_id = ? AND as_of > ?"
                f" AND {stands(f'{kind}_mark')} ORDER BY as_of DESC, id DESC LIMIT 1",
                (subject, day),
            ).fetchone()
            if last is not None and last[0] != state and not anyway:
                self._refuse(
                    f"{subject} {_STATES[last[0]]} from {said_day(last[1])} on, as was said before; that it "
                    f"{_STATES[state]} from {said_day(day)} on would change nothing now",
                    f"Leave the date out, or give {said_day(last[1])} or later",
                )
            connection.execute(
                f"INSERT INTO {kind}_mark (entry_key, as_of, {kind}_id, state, note, recorded_at, who)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (new_key(), day, subject, state, note, at, who),
            )
        return Mark(subject, state, _date(day), note, datetime.fromisoformat(at), who)

    def _marks(self, kind: str, as_of: date | str | None) -> list[Mark]:
        with self._reading() as connection:
            rows = connection.execute(
                f"SELECT {kind}_id, state, as_of, note, recorded_at, who FROM {kind}_mark"
                f" WHERE as_of <= ? AND {stands(f'{kind}_mark')} ORDER BY as_of, id",
                (until(as_of),),
            ).fetchall()
            return [
                Mark(row[0], row[1], stored_day(row[2]), row[3], stored_moment(row[4]), row[5])
                for row in rows
            ]

    def _last_marks(self, kind: str, as_of: date | str | None) -> dict[str, Mark]:
        return {mark.subject: mark for mark in self._marks(kind, as_of)}


def _date(day: str) -> date:
    return date.fromisoformat(day)


def _named(subject: str, kind: str) -> str:
    subject = clean(subject)
    if not subject:
        message = f"{kind}: no name given. Say which {kind} is meant."
        raise LedgerError(message)
    return subject
