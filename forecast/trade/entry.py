"""Writes out what a consignment costs from the border to the door: duty, levies, tax and arrival charges."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from forecast.buildfile.consignment import UNITS, ArrivalCharge, Container, StorageStep
from forecast.buildfile.incoterms import IncotermsRule, buyer_pays, who_pays
from forecast.buildfile.rulefiles import is_meant, same_territory
from forecast.buildfile.schema import Group
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Constant, Formula, LineValue, Product
from forecast.figures.kinds import Known
from forecast.trade import customs
from forecast.trade.arrival import NOTHING, Step, above, at_most, charged_days, disbursement, storage
from forecast.trade.expansion import NOTHING_WORDS, ComputedEvent, Words
from forecast.trade.journey import Journey
from forecast.trade.rules import RuleWarning, doubt, load_arrival
from forecast.trade.rules.model import Additional, PrivateUse, Territory
from forecast.trade.sent_back import write_returned
from forecast.trade.working_sheet import Sheet, times, total

COMMON = "Common practice, yours to overwrite."
_TAX_ON_CHARGES = (
    "Prices of agents, ports and carriers are taken without tax, unless arrival = { holds_tax = … } says otherwise; "
    "what import tax does not take of them bears the same rate here."
)
_PORTS = frozenset({
    "port", "harbour", "harbor", "terminal", "depot", "cfs", "quay", "docks", "dock", "airport", "warehouse",
    "hafen", "haven",
})  # fmt: skip
"""Words by which the name of a place sounds like one where goods arrive and nobody lives."""


@dataclass(frozen=True)
class _Charge:
    """A charge on arrival that is one figure: its line, who pays it, and what it is counted in."""

    id: ArrivalCharge
    label: str
    cost: str
    group: Group
    per_unit: bool = False
    widened: bool = False


CHARGES = (
    _Charge("terminal", "Terminal and unpacking", "unloading_at_arrival_terminal", "import", True, True),
    _Charge("documents", "Documents and handover", "unloading_at_arrival_terminal", "import", False, True),
    _Charge("surcharges", "Port and fuel surcharges", "unloading_at_arrival_terminal", "import", False, True),
    _Charge("entry", "Customs entry by the agent", "import_clearance", "import"),
    _Charge("delivery", "Delivery to the door", "carriage_to_named_destination", "freight"),
)


class EntryWriter:
    """Writes the lines after the border.

    Parameters
    ----------
    sheet : Sheet
    rule : IncotermsRule
        The consignment's.
    book : RuleBook
        The country's figures with the consignment's overrides.
    journey : Journey
        What stands on the sheet already.
    on : datetime.date
        The day for which figures are judged outdated.
    """

    def __init__(
        self, sheet: Sheet, rule: IncotermsRule, book: customs.RuleBook, journey: Journey, on: date
    ) -> None:
        self.sheet = sheet
        self.rule = rule
        self.book = book
        self.journey = journey
        self.on = on
        self.defaults = load_arrival()
        self.mode = sheet.consignment.mode
        self.untaxed: list[LineValue] = []
        self.dues: list[LineValue] = []
        self.charged: list[str] = []  # ids of all lines of the state
        came = sheet.consignment.comes_from
        self.within = came is not None and same_territory(book.rules.code, came)
        own_duty = any(id.startswith("duty.") for id in book.overrides)
        self.free = None if self.within or own_duty else book.rules.free_of_duty(came)

    def write(self) -> None:
        """Write all lines after the border, each after those that it depends on."""
        self._arrival_lines()
        clears = buyer_pays(self.rule.code, "import_clearance") and not self.within
        if self.within:
            self._say_within()
        elif buyer_pays(self.rule.code, "import_duty_and_tax"):
            arrival, rules = list(self.untaxed), self.book.rules
            advanced = self._duty_and_tax(arrival)
            if rules.tax_base is not None and "arrival" in rules.tax_base.parts:
                self.untaxed = []  # import tax takes them
            if clears:
                self._disbursement(advanced)
        elif self.sheet.consignment.tax_in_price is False:
            self._tax_on_price()
        self._local_tax()
        if clears:
            self._examination()
        write_returned(self.sheet, self.journey.articles, self.dues)

    # Duty and tax

    def _say_within(self) -> None:
        """Say that nothing is due at a border that is not there."""
        came, home = self.sheet.consignment.comes_from, self.book.rules.name
        self.sheet.note(
            f"Sent from {came}, within the customs territory of {home}: no duty, no import tax and no customs entry. "
            "The price and the freight are taken with their tax in them: ask the seller whether they are."
        )

    def _say_free(self, union: Territory) -> None:
        """Say by which customs union no duty is counted, and that all else is."""
        came, rules = self.sheet.consignment.comes_from, self.book.rules
        left = rules.tax_name or "what the state charges"
        self.sheet.note(
            f"Sent from {came}: {union.words} ({union.told}) No duty is counted; {left} and the customs entry are. "
            f'Goods that bear it all the same: overrides = {{ "duty.{self.sheet.consignment.items[0].hs}" = … }}.'
        )
        for name in self.sheet.consignment.additional:
            self.sheet.note(f"{name} is left out with the duty.")

    def _tax_on_price(self) -> None:
        """Write the import tax that a duty-paid price does not hold: on the price, with all that is in it."""
        rules, paid = self.book.rules, self.journey.payments
        if rules.tax is None:
            self.sheet.note(f"{rules.name} has no tax on imports, so tax_in_price decides nothing.")
            return
        words = " + ".join(f"{{{cost.line.id}}}" for cost in paid)
        self.sheet.note(
            f"{self.rule.code} without import tax: it is counted on the whole price, which holds freight and duty. "
            "Where the law leaves freight out of the base, that is a little too much."
        )
        charge = customs.Charge(
            "tax",
            rules.tax_name[:1].upper() + rules.tax_name[1:],
            Product((self.book.get(rules.tax), total(*(cost.customs for cost in paid)))),
            f"({words}) × {self.book.say(rules.tax)}",
        )
        self._due("tax", charge.label, [charge], "")

    def _local_tax(self) -> None:
        """Write the tax on what agents, ports and carriers charge, as far as import tax does not take it."""
        rules = self.book.rules
        if rules.tax is None or not rules.services_taxed or not self.untaxed:
            return
        rate = self.book.get(rules.tax)
        words = " + ".join(f"{{{line.id}}}" for line in self.untaxed)
        name = rules.tax_name.removeprefix("import ")
        figure = rules.figures[rules.tax]
        self.sheet.add(
            "local_tax",
            f"{name[:1].upper()}{name[1:]} on charges on arrival",
            "import",
            Product((rate, total(*self.untaxed))),
            f"{self.book.say(rules.tax)} × ({words})",
            f"{figure.label}: {figure.told}." if rules.tax not in self.book.overrides else "",
            know=(_TAX_ON_CHARGES,),
        )

    def _duty_and_tax(self, arrival: list[LineValue]) -> list[LineValue]:
        sheet, book, bought = self.sheet, self.book, self.sheet.consignment
        rules = book.rules
        parts = replace(self.journey.parts, arrival=total(self.journey.parts.arrival, *arrival))
        own_words = ""
        if not self.rule.risk_at_destination and who_pays(self.rule.code, "cargo_insurance") != "seller":
            parts, own_words = customs.with_assumed_insurance(book, parts)
        private = rules.private_use if bought.private_use else None
        value = customs.customs_value(book, parts, bool(bought.private_use))
        said = rules.customs_value.words if private is None else private.words
        if own_words:
            said += f"; for want of a premium, insurance of {own_words} of the price at the port of export"
            sheet.note(
                f"{rules.name}: no insurance is given, and customs count {own_words} of the price at the port of "
                "export in its place. The premium itself is not paid, and no line holds it."
            )
        value_words = sheet.stage("customs_value", "Customs value", value, said, sheet.home)
        articles = self.journey.articles
        due_lines: list[LineValue] = []
        extra: tuple[customs.Charge, ...] = ()
        if self.free is not None:
            self._say_free(self.free)
        else:
            due_lines = [
                self._due("duty", "Customs duty", [customs.duty(book, articles, value)], value_words)
            ]
            extra = customs.additional_duties(book, articles, value, bought.origin, bought.additional)
        due_lines += [self._due(charge.id, charge.label, [charge], value_words) for charge in extra]
        state: list[LineValue] = []
        charges = customs.levies(book, value, self.mode, bought.shared_by)
        if charges:
            state.append(self._due("levies", "State charges on the entry", list(charges), value_words))
        lines = [*due_lines, *state]
        if rules.tax is not None:
            taxed = replace(parts, arrival=self._taxed_arrival(parts.arrival))
            base = customs.tax_base(book, taxed, value, total(*due_lines), total(*state), bought.origin)
            charge = customs.tax(book, articles, base, value)
            said = rules.tax_base.words if rules.tax_base else ""
            base_words = sheet.stage("tax_base", "Tax base", base, said, sheet.home)
            if charge is not None:
                if rules.private_use is not None and bought.private_use is None:
                    charge = self._told_with_private_use(rules.private_use, charge, taxed)
                lines.append(self._due("tax", charge.label, [charge], base_words))
        self._remarks()
        self.dues = [line for line in lines if line not in state]
        return lines

    def _told_with_private_use(
        self, rule: PrivateUse, charge: customs.Charge, parts: customs.Parts
    ) -> customs.Charge:
        """Tell beside the tax what duty and tax come to by the rule for goods for one's own use."""
        sheet, book, articles = self.sheet, self.book, self.journey.articles
        value = customs.customs_value(book, parts, private=True)
        duty = customs.duty(book, articles, value).formula
        base = customs.tax_base(book, parts, value, duty, Constant(0), sheet.consignment.origin)
        tax = customs.tax(book, articles, base, value)
        both = total(duty, *([] if tax is None else [tax.formula]))
        stage = sheet.stage("private_use", "Duty and tax for private use", both, rule.words, sheet.home)
        sheet.note(
            f"{book.rules.name}: {rule.words} {rule.doubt} It is not counted; private_use = true counts it, "
            f"private_use = false leaves it unsaid, and `forecast open` with {sheet.id('private_use')} shows what duty "
            "and tax come to then."
        )
        return replace(charge, working=f"{charge.working}; by the rule for private use instead: {stage}")

    def _due(self, name: str, label: str, charges: list[customs.Charge], words: str) -> LineValue:
        """Write one line for charges of the state, with the sources of its figures and their doubts."""
        rules = self.book.rules

        def placed(text: str) -> str:
            return text.replace("{customs_value}", words).replace("{tax_base}", words)

        working = placed(" + ".join(charge.working for charge in charges))
        pieces = tuple(
            Words(placed(charge.working), tuple((case, placed(said)) for case, said in charge.cases))
            for charge in charges
        )
        used = [id for id in self._figures_of(name) if id in rules.figures and id in self.book.used]
        sources = [f"{rules.figures[id].label}: {rules.figures[id].told}." for id in used]
        basis = {"tax_base"} if name == "tax" else {"customs_value"} if name == "duty" else set()
        doubts = [str(found) for found in rules.warnings(self.on, frozenset(used) | basis)]
        know = [rule.words for rule in rules.additional if rule.id == name]
        know += [f"{rules.figures[id].label}: {note}" for id in used if (note := rules.figures[id].note)]
        for kind, found in (("customs_value", rules.customs_value), ("tax_base", rules.tax_base)):
            if kind in basis and found is not None and found.note:
                know.append(f"{kind.replace('_', ' ').capitalize()}: {found.note}")
        own = sorted(id for id in self._figures_of(name) if id in self.book.overrides)
        if own:
            sources.append(f"Your own figure: {', '.join(own)}.")
        for rule in rules.additional:
            if rule.id == name and rule.rate in own and rule.rate in rules.figures:
                figure = rules.figures[rule.rate]
                sources.append(f"On file is {100 * figure.low:g} %: {figure.told}.")
        formula = total(*(charge.formula for charge in charges))
        self.charged.append(self.sheet.id(name))
        return self.sheet.add(
            name,
            label,
            "import",
            formula,
            working,
            " ".join(sources),
            " ".join(doubts),
            tuple(dict.fromkeys(know)),
            pieces if any(piece.cases for piece in pieces) else (),
        )

    def _figures_of(self, name: str) -> list[str]:
        """Name the rule figures that a line of the state reads."""
        rules, bought = self.book.rules, self.sheet.consignment
        known = dict.fromkeys([*rules.figures, *self.book.overrides])
        if name == "duty":
            codes = {self.book.duty_id(item.hs) for item in bought.items}
            limits = {x for t in rules.thresholds for x in (t.at_most, t.flat) if t.effect != "no small tax"}
            own_use = rules.private_use.share if rules.private_use and bought.private_use else None
            return [id for id in known if id in codes or id in limits or id == own_use]
        if named := [rule for rule in rules.additional if rule.id == name]:
            read = {id for rule in named for id in (rule.rate, *rule.totals.values())}
            return [id for id in known if id in read]
        if name == "tax":
            limits = {t.at_most for t in rules.thresholds if t.effect in ("no small tax", "no duty and tax")}
            uplift = rules.tax_base.uplift if rules.tax_base else None
            own_use = rules.private_use.share if rules.private_use and bought.private_use is None else None
            return [id for id in known if id in (rules.tax, uplift, own_use) or id in limits]
        mine = [levy for levy in rules.levies if not levy.modes or self.mode in levy.modes]
        read = {id for levy in mine for id in levy.figures}
        return [id for id in known if id in read]

    def _taxed_arrival(self, actual: Formula) -> Formula:
        """Give the arrival costs that enter the tax base: the actual ones, or the authority's agreed amounts."""
        if not self.sheet.consignment.agreed_arrival:
            return actual
        kg = self.journey.gross_kg
        agreed = None if kg is None else customs.agreed_arrival(self.book, self.mode, kg)
        if agreed is None:
            self.sheet.note(
                f"agreed_arrival: {self.book.rules.name} has no agreed amounts for this mode, or no boxes are "
                "given; the actual arrival costs enter the tax base."
            )
            return actual
        self.sheet.note("The tax base holds the authority's agreed arrival costs instead of the actual ones.")
        return agreed

    def _remarks(self) -> None:
        rules, bought = self.book.rules, self.sheet.consignment
        codes = [item.hs for item in bought.items]
        origin = bought.origin
        if self.free is None:
            self._say_origin()
        for remark in rules.remarks:
            fits_code = not remark.hs or any(code.startswith(remark.hs) for code in codes)
            if fits_code and (not remark.origins or is_meant(origin, remark.origins)):
                self.sheet.note(f"{rules.name}: {remark.words}")
        for rule in rules.additional if self.free is None else ():
            may_hold = rule.may_hold(codes, origin)
            if rule.id not in bought.additional and may_hold:
                self.sheet.note(
                    f'{rules.name}: {rule.words} It is not counted; additional = ["{rule.id}"] counts it.'
                )
            elif rule.id in bought.additional and not may_hold:
                self._say_not_counted(rule)
        if bought.price is not None and self.free is None:
            self.sheet.note(
                "One tariff code is taken for everything. A kit often has two to five: lamps, rubber seals, general "
                "fixings and wheels have their own. Where it matters, list goods = [{ id, price, hs }, …]."
            )

    def _say_not_counted(self, rule: Additional) -> None:
        """Say why an additional duty that is asked for is not counted."""
        bought = self.sheet.consignment
        made = f"these were made in {bought.origin}"
        if bought.origin is None:
            made = 'where these were made is not told: write origin = "…"'
        why = f"it holds for goods made in {' or '.join(rule.origins)}, and {made}"
        if not any(rule.concerns(item.hs) for item in bought.items):
            codes = ", ".join(dict.fromkeys(item.hs for item in bought.items))
            why = f"it holds for codes that begin with {' or '.join(rule.hs)}, and these are {codes}"
        self.sheet.note(
            f"{rule.id} IS NOT COUNTED, though additional asks for it: {why}. Take it out, or correct that."
        )

    def _say_origin(self) -> None:
        """Say what follows from where the goods were made, and from where they are sent."""
        rules, bought = self.book.rules, self.sheet.consignment
        origin, sent = bought.origin, bought.sent_from
        if origin is None:
            extra = " or an additional duty holds" if any(rule.origins for rule in rules.additional) else ""
            self.sheet.note(
                "Where the goods were made is not told, and whether a trade agreement lowers the duty"
                f'{extra} goes by that: ask the seller, and write origin = "…". Where they are sent from is another '
                'thing: sent_from = "…".'
            )
        elsewhere = sent is not None and origin is not None and not same_territory(sent, origin)
        for preference in rules.preferences:
            if is_meant(origin, preference.origins):
                self.sheet.note(f"Origin {origin}: {preference.words} ({preference.told})")
                if elsewhere:
                    self.sheet.note(
                        f"Made in {origin}, sent from {sent}: most agreements ask for direct transport, so the lower "
                        "duty may be lost on the way. Ask the seller for proof of both before you count on it."
                    )
            elif elsewhere and is_meant(sent, preference.origins):
                self.sheet.note(
                    f"Sent from {sent}, made in {origin}: an agreement with {sent} goes by where goods are made, and "
                    "lowers nothing here."
                )

    # Arrival

    def _default(self, id: str, widened: bool = False) -> tuple[FigureBase | None, str]:
        found = self.defaults.charge(self.mode, id)
        if found is None:
            return None, ""
        scale = self.sheet.usual_scale(found.unit)
        widen = self.defaults.widen if widened and self.rule.is_c_rule else 1.0
        warning = doubt(found, "Arrival", self.on)
        note = found.note if warning is None else f"{COMMON} {found.note}"
        figure = found.as_figure(scale, widen)
        return figure.model_copy(update={"unit": found.unit.replace("money", self.sheet.home)}), note.strip()

    def _arrival_lines(self) -> None:
        """Write terminal, documents, surcharges, entry, delivery and storage, and note which are without tax."""
        bought = self.sheet.consignment
        widened = False
        for charge in CHARGES:
            own: FigureBase | None = getattr(bought.arrival, charge.id)
            if self.within and charge.cost == "import_clearance":
                if own is not None:
                    self.sheet.note(f"Within one customs territory there is no {charge.id}: it is left out.")
                continue
            if not self._is_mine(charge.cost):
                if own is not None:
                    hint = ' Where the named place is a port, write place_is = "port".'
                    self.sheet.note(
                        f"{self.rule.code}: the seller pays it; the line {charge.id} is left out."
                        + (hint if charge.id == "delivery" else "")
                    )
                continue
            if own is None and charge.per_unit and bought.container is not None:
                self.sheet.note(
                    f"{charge.label} of a full container: nothing usual is on file. Write what one container costs as "
                    f"arrival = {{ {charge.id} = … }}; it is not counted until then."
                )
                continue
            figure, note = (own, "") if own is not None else self._default(charge.id, charge.widened)
            if figure is None or (isinstance(figure, Known) and figure.value == 0):
                continue
            if not buyer_pays(self.rule.code, charge.cost) and bought.place_is is None:
                self.sheet.note(
                    f"{self.rule.code}: carriage beyond the named place is the buyer's, and the place is taken "
                    'for a port or depot. Where it is your door, write place_is = "door".'
                )
            widened = widened or (own is None and charge.widened)
            self._without_tax(charge.id, own is not None, self._charge_line(charge, figure, note))
        self._say_where_it_ends()
        if widened and self.rule.is_c_rule:
            self.sheet.note(
                f"{self.rule.code}: the seller picks the forwarder, and the buyer pays that forwarder's charges "
                f"on arrival; the usual ranges are widened, their high ends × {self.defaults.widen:g}. Ask for "
                "the arrival charges before ordering."
            )
        if bought.container is not None:
            self._container(bought.container)
        elif buyer_pays(self.rule.code, "import_clearance") and (stored := self._storage()) is not None:
            own_price = bool(bought.storage.steps)
            self._without_tax("storage", own_price, stored)

    def _without_tax(self, charge: ArrivalCharge, is_own: bool, line: LineValue) -> None:
        """Keep a line in mind whose price is without tax."""
        if not self.sheet.consignment.arrival.has_tax_in(charge, is_own):
            self.untaxed.append(line)

    def _is_mine(self, cost: str) -> bool:
        if cost == "carriage_to_named_destination" and self.rule.seller_ships:
            ends = self.sheet.consignment.place_is or ("port" if self.rule.is_c_rule else "door")
            return ends == "port"
        return buyer_pays(self.rule.code, cost)

    def _say_where_it_ends(self) -> None:
        """Say that the seller's carriage may end at a port, where the place's name sounds like one."""
        bought = self.sheet.consignment
        words = set((bought.place or "").casefold().replace(",", " ").split())
        if self.rule.risk_at_destination and bought.place_is is None and words & _PORTS:
            self.sheet.note(
                f"{self.rule.code} {bought.place}: that sounds like a port or depot, and it is taken for your door, so "
                'nothing is counted from there on. Write place_is = "port" to count carriage to your door, or place_is '
                '= "door".'
            )

    def _units(self) -> tuple[Formula, str]:
        if self.journey.units is not None:
            return self.journey.units, f"{{{self.sheet.id('chargeable')}}} {UNITS[self.mode]}"
        if self.mode == "sea":
            self.sheet.note("No boxes are given: arrival charges count 1 W/M, the least that is charged.")
            shared = self.sheet.consignment.shared_by
            return Constant(1 / shared), "1 W/M" if shared == 1 else f"1 W/M / {shared}"
        self.sheet.note("No boxes are given: arrival charges per kg count 100 kg. Add boxes = [ … ].")
        return Constant(100), "100 kg"

    def _charge_line(self, charge: _Charge, figure: FigureBase, note: str) -> LineValue:
        container = self.sheet.consignment.container
        name = f"arrival.{charge.id}"
        is_own = figure is getattr(self.sheet.consignment.arrival, charge.id)
        if charge.per_unit and container is None and is_own:
            money = self.sheet.per_unit(name, figure)
        else:
            money = self.sheet.money(name, figure)
        if not charge.per_unit or container is not None:  # what goes by own units is nobody else's
            money = self.sheet.part_of(money)
        formula, working = self.sheet.paid(money, self.sheet.customs_day)
        if charge.per_unit and container is not None:
            formula, working = Product((Constant(container.count), formula)), f"{container.count} × {working}"
        elif charge.per_unit:
            units, words = self._units()
            formula, working = Product((units, formula)), f"{words} × {working}"
        caution = self._doubted(f"arrival.{charge.id}", charge.label) if note else ""
        return self.sheet.add(charge.id, charge.label, charge.group, formula, working, note, caution)

    def _doubted(self, figure: str, label: str) -> str:
        """Note that a usual range stands in for a figure of the builder's own, and say so."""
        table, _, key = figure.partition(".")
        text = (
            f"{label}: the range is common practice without a published source. Ask for a quotation, and write it "
            f"as {table} = {{ {key} = … }}."
        )
        self.sheet.doubts.append(RuleWarning(figure, text))
        return text

    def _container(self, box: Container) -> None:
        """Write what a full container costs by the day: at the terminal, and until it is back."""
        self._by_the_day(
            "demurrage", "Demurrage at the terminal", box.count, box.days, box.free_days, box.demurrage
        )
        if box.detention_days is not None:
            self._by_the_day(
                "detention",
                "Detention of the container",
                box.count,
                box.detention_days,
                box.detention_free_days,
                box.detention,
            )

    def _by_the_day(
        self, name: str, label: str, count: int, days: FigureBase, free: float, rates: tuple[StorageStep, ...]
    ) -> None:
        sheet = self.sheet
        money = [
            sheet.part_of(sheet.money(f"container.{name}.step{n}", step.rate))
            for n, step in enumerate(rates, 1)
        ]
        steps = [
            Step(sheet.paid(one, sheet.customs_day)[0], step.days)
            for one, step in zip(money, rates, strict=True)
        ]
        words = ", then ".join(
            f"{one.words} {one.currency}" + (f" for {step.days:g} days" if step.days else "")
            for one, step in zip(money, rates, strict=True)
        )
        spent, in_words = sheet.days(f"container.{name}.days", days)
        kept = charged_days(spent, Constant(free))
        said = f"{in_words} less {free:g} free ones, rounded up"
        charged = sheet.stage(f"{name}_days", f"Charged days of {name}", kept, said, "days")
        working = f"{count} × {charged} days × {words}"
        none = f"{NOTHING_WORDS}: within {free:g} free days"
        line = sheet.add(
            name,
            label,
            "import",
            storage(Constant(count), spent, Constant(free), steps),
            working,
            pieces=(Words(working, ((at_most(kept, NOTHING), none),)),),
        )
        self._without_tax("storage", True, line)

    def _storage(self) -> LineValue | None:
        sheet, said = self.sheet, self.sheet.consignment.storage
        usual_rate, note = (None, "") if said.steps else self._default("storage_rate")
        usual_days, _ = self._default("storage_days")
        days = said.days if said.days is not None else usual_days
        if days is None:
            return None
        free = self.defaults.charge(self.mode, "storage_free")
        free_days = said.free_days if said.free_days is not None else (free.value if free else 0.0)
        if said.steps:
            rates = [sheet.per_unit(f"storage.step{n}", step.rate) for n, step in enumerate(said.steps, 1)]
            steps = [
                Step(sheet.paid(money, sheet.customs_day)[0], step.days)
                for money, step in zip(rates, said.steps, strict=True)
            ]
            words = ", then ".join(
                f"{money.words}" + (f" for {step.days:g} days" if step.days else "")
                for money, step in zip(rates, said.steps, strict=True)
            )
        elif usual_rate is None:
            return None
        else:
            later = self.defaults.charge(self.mode, "storage_later")
            rate = sheet.figure("storage.rate", usual_rate)
            dearer = times(rate, Constant(later.value if later else 1.0))
            steps = [Step(rate, 7), Step(dearer)]
            words = f"{sheet.say(rate)} for 7 days, then × {later.value if later else 1:g}"
        spent, in_words = sheet.days("storage.days", days)
        units, units_words = self._units()
        least, least_words = None, ""
        if said.minimum is not None:
            money = sheet.money("storage.minimum", said.minimum)
            least, least_words = sheet.paid(money, sheet.customs_day)
        kept = charged_days(spent, Constant(free_days))
        charged = sheet.stage(
            "storage_days",
            "Charged days of storage",
            kept,
            f"{in_words} less {free_days:g} free ones, rounded up",
            "days",
        )
        working = f"{units_words} × {charged} days × {words}"
        cases = [(at_most(kept, NOTHING), f"{NOTHING_WORDS}: fetched within {free_days:g} free days")]
        if least is not None:
            by_days = storage(units, spent, Constant(free_days), steps)
            cases.append(
                (above(least, by_days), f"{least_words}, the least that is charged ({working} is less)")
            )
        return sheet.add(
            "storage",
            "Storage at the depot",
            "import",
            storage(units, spent, Constant(free_days), steps, least),
            working,
            note,
            self._doubted("storage.steps", "Storage at the depot") if note else "",
            tuple(
                f"{figure.label}: {figure.note}"
                for id, is_usual in (
                    ("storage_free", said.free_days is None),
                    ("storage_later", not said.steps),
                )
                if is_usual and (figure := self.defaults.charge(self.mode, id)) is not None and figure.note
            ),
            (Words(working, tuple(cases)),),
        )

    def _disbursement(self, advanced: list[LineValue]) -> None:
        sheet, said = self.sheet, self.sheet.consignment.arrival
        usual_percent, note = self._default("disbursement_percent")
        percent = said.disbursement_percent if said.disbursement_percent is not None else usual_percent
        least = said.disbursement_minimum
        if least is None:
            least, _ = self._default("disbursement_minimum")
        share = sheet.figure("arrival.disbursement_percent", percent) if percent else Constant(0)
        if least is not None:
            money = sheet.part_of(sheet.money("arrival.disbursement_minimum", least))
            minimum, words = sheet.paid(money, sheet.customs_day)
        else:
            minimum, words = Constant(0), "0"
        if share == Constant(0) and minimum == Constant(0):
            return
        names = " + ".join(f"{{{line.id}}}" for line in advanced)
        by_share = f"{sheet.say(share)} % × ({names})"
        plain = f"the larger of {words} and {by_share}"
        paid = total(*advanced)
        is_usual = said.disbursement_percent is None
        fee = sheet.add(
            "disbursement",
            "Fee for advancing duty and tax",
            "import",
            disbursement(paid, share, minimum),
            plain,
            note if is_usual else "",
            self._doubted("arrival.disbursement_percent", "Fee for advancing duty and tax")
            if is_usual
            else "",
            pieces=(
                Words(
                    by_share,
                    (
                        (at_most(paid, NOTHING), f"{NOTHING_WORDS}: neither duty nor tax is advanced"),
                        (
                            above(minimum, Product((share, Constant(0.01), paid))),
                            f"{words}, the least that is charged ({by_share} is less)",
                        ),
                    ),
                ),
            ),
        )
        self._without_tax("disbursement", said.disbursement_percent is not None, fee)

    def _examination(self) -> None:
        sheet, said = self.sheet, self.sheet.consignment.examination
        chance_figure = self.defaults.charge(self.mode, "examination_chance")
        usual_cost, note = self._default("examination_cost") if said is None else (None, "")
        if said is not None:
            chance, cost, note = said.chance, said.cost, note
        elif chance_figure is not None and usual_cost is not None:
            chance, cost = chance_figure.value, usual_cost
            self._doubted("examination.cost", "Customs examination")
        else:
            return
        if chance == 0:
            return
        money = sheet.money("examination.cost", cost)
        formula, _ = sheet.paid(money, sheet.customs_day)
        id = sheet.id("examination")
        sheet.events.append(
            ComputedEvent(id, f"Customs examine {sheet.consignment.title}", chance, formula, note)
        )
