"""What can be told of a build from its file: what is imported, cut, painted, and by whom.

Read from ids, names, groups and routes, so it can be wrong; a false alarm is answered in the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from forecast.build.cautions import mentions
from forecast.build.schema import Build, Costed, Event, Line

SEA_WORDS = ("sea", "ocean", "lcl", "fcl", "container", "port", "vessel", "w/m", "groupage")
OTHER_WAYS = ("courier", "air", "airfreight", "road", "parcel", "post", "truck")
DUTY_WORDS = ("duty", "duties", "customs duty", "tariff")
TAX_WORDS = ("vat", "gst", "hst", "import tax", "sales tax", "consumption tax", "import_vat", "import_gst")
SELLER_BEARS_TRANSIT = frozenset({"CIF", "CIP", "DAP", "DPU", "DDP"})
"""Incoterms 2020 rules under which the seller insures the way, or bears its risk."""
NO_IMPORT_TAX = frozenset({"US"})
"""Countries without a tax on imports beside duty."""
FREIGHT_OUT_OF_DUTY = frozenset({"US", "AU", "NZ", "CA"})
"""Countries whose customs value leaves international freight and insurance out."""
FREIGHT_OUT_OF_TAX = frozenset({"CA", "US"})
"""Countries whose import tax base leaves it out too, or that have none."""


def text_of(item: Costed) -> str:
    """Give the words by which a line or event is recognised: its id and its name."""
    return f"{item.id} {item.name or ''}"


@dataclass(frozen=True)
class Facts:
    """What a build file tells about the build."""

    build: Build

    def lines(self, words: Iterable[str], groups: Iterable[str] = ()) -> Iterator[Line]:
        """Give the lines that mention one of the words, in some groups or all."""
        allowed, words = frozenset(groups), tuple(words)
        for line in self.build.line:
            if (not allowed or line.group in allowed) and mentions(text_of(line), words):
                yield line

    def has(self, words: Iterable[str], groups: Iterable[str] = ()) -> bool:
        """Tell whether some line mentions one of the words."""
        return any(True for _ in self.lines(words, groups))

    def has_event(self, words: Iterable[str]) -> bool:
        """Tell whether some event mentions one of the words, those of consignments included."""
        words = tuple(words)
        events: list[Event] = list(self.build.event)
        return any(mentions(text_of(event), words) for event in events)

    def by_oneself(self, item: Costed) -> bool:
        """Tell whether a line counts in a scenario in which its package is done by oneself."""
        if item.route is None or item.package is None:
            return True
        if item.route != "self":
            return False
        scenarios = self.build.scenario.values()
        return not scenarios or any(scenario.route(item.package) == "self" for scenario in scenarios)

    @cached_property
    def foreign(self) -> bool:
        """Some line is priced in another currency."""
        home = self.build.build.currency
        figures = [
            figure for line in self.build.line for figure in (line.amount, line.price) if figure is not None
        ]
        if any(figure.currency not in (None, home) for figure in figures):
            return True
        return any(item.currency not in (None, home) for item in self.build.consignment)

    @cached_property
    def imported(self) -> bool:
        """Something comes from abroad."""
        if self.build.consignment or self.foreign:
            return True
        if any(line.group == "import" for line in self.build.line) or self.has(("import", "imported")):
            return True
        return self.has(SEA_WORDS, ("freight",))

    @cached_property
    def unconsigned_import(self) -> bool:
        """Something comes from abroad without a consignment that works out its charges."""
        return self.imported and not self.build.consignment

    @cached_property
    def by_sea(self) -> bool:
        """Goods come by sea without a consignment; freight from abroad that does not say how is taken for it."""
        if not self.unconsigned_import:
            return False
        freight = [line for line in self.build.line if line.group == "freight"]
        told = [line for line in freight if mentions(text_of(line), SEA_WORDS)]
        other = [line for line in freight if mentions(text_of(line), OTHER_WAYS)]
        return bool(told) or (bool(freight) and not other)

    @cached_property
    def duty(self) -> tuple[Line, ...]:
        """The lines of duty, fees for advancing it left out."""
        return tuple(
            line
            for line in self.lines(DUTY_WORDS, ("import",))
            if not mentions(text_of(line), ("fee", "disbursement", "advance"))
        )

    @cached_property
    def import_tax(self) -> tuple[Line, ...]:
        """The lines of tax on imports."""
        return tuple(
            line
            for line in self.lines((*TAX_WORDS, "tax"), ("import",))
            if not mentions(text_of(line), ("fee", "disbursement", "advance"))
        )

    @cached_property
    def new_wheels(self) -> bool:
        """New wheels are bought: a line of the wheels group says so, and is not about work or parts of theirs."""
        parts = (
            "fixing", "fixings", "bolt", "bolts", "nut", "nuts", "stud", "studs", "spacer", "spacers", "alignment",
            "mounting", "balancing", "fitting", "bearing", "bearings", "tyre", "tyres", "mock-up", "wheels_self",
        )  # fmt: skip
        goods = any(
            mentions(f"{item.id} {item.name or ''}", ("wheels", "wheel set", "rims"))
            for consignment in self.build.consignment
            for item in consignment.items
        )
        return goods or any(
            not mentions(line.title, parts)
            for line in self.lines(("wheels", "rims", "wheel set"), ("wheels",))
        )

    @cached_property
    def cut_arches(self) -> bool:
        """Inner arches or other sheet metal are cut."""
        words = (
            "inner arch", "inner arches", "arches cut", "arch cut", "cut arches", "tubs", "arches self",
            "arches shop", "cut and close", "cut and closed", "wide arch", "wide arches", "box arch", "box arches",
        )  # fmt: skip
        packages = {line.package for line in self.build.line}
        return "arches" in packages or self.has(words)

    @cached_property
    def paints_oneself(self) -> bool:
        """Paint is sprayed by the builder in some scenario."""
        words = (
            "paint", "colour", "color", "clear", "clear coat", "clearcoat", "lacquer", "two-pack", "2k", "base coat",
            "spray", "topcoat", "respray",
        )  # fmt: skip
        return any(
            self.by_oneself(line) and line.group in ("finish", "consumables", "other", "labour")
            and not mentions(text_of(line), ("film", "shop", "painter", "polish", "remover", "primer"))
            for line in self.lines(words)
        )  # fmt: skip

    @cached_property
    def laminates_or_fills(self) -> bool:
        """Resin or filler is worked by the builder."""
        words = (
            "resin",
            "laminate",
            "laminating",
            "filler",
            "fibreglass",
            "fiberglass",
            "gelcoat",
            "filling",
        )
        return any(self.by_oneself(line) for line in self.lines(words))

    @cached_property
    def own_work(self) -> bool:
        """Some line is worked by the builder."""
        return any(
            self.by_oneself(line) and (line.own_hours is not None or line.route == "self")
            for line in self.build.line
        )

    @cached_property
    def farmed_out(self) -> bool:
        """Some line is a shop's work."""
        return any(line.route not in (None, "self") for line in self.build.line)

    @cached_property
    def kit(self) -> bool:
        """A body kit is fitted."""
        return bool(self.build.consignment) or any(line.group == "kit" for line in self.build.line)

    @cached_property
    def bumpers(self) -> bool:
        """Bumpers are among the lines."""
        return self.has(("bumper", "bumpers"))

    @cached_property
    def uninsured(self) -> bool:
        """Something comes from abroad and a consignment, if there is one, says nothing of insurance."""
        if not self.build.consignment:
            return self.imported
        return any(
            item.insurance_percent is None and item.incoterm not in SELLER_BEARS_TRANSIT
            for item in self.build.consignment
        )

    @cached_property
    def no_margin(self) -> bool:
        """Something is paid in another currency, and no margin of card or bank is counted anywhere."""
        if not self.foreign:
            return False
        margins = [currency.margin for currency in self.build.currency.values()]
        margins += [item.card_margin or 0 for item in self.build.consignment]
        return not any(margins)

    @cached_property
    def untaxed_duty(self) -> bool:
        """There is duty but no import tax on it, in a country that has one."""
        return bool(self.duty) and not self.import_tax and self.build.build.country not in NO_IMPORT_TAX

    @cached_property
    def no_dues(self) -> bool:
        """Something comes from abroad with neither duty nor import tax."""
        return self.unconsigned_import and not self.duty and not self.import_tax


__all__ = [
    "FREIGHT_OUT_OF_DUTY",
    "FREIGHT_OUT_OF_TAX",
    "NO_IMPORT_TAX",
    "SELLER_BEARS_TRANSIT",
    "Facts",
    "text_of",
]
