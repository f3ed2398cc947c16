"""What can be told of a build from its file: what is imported, cut, painted, and by whom.

Read from ids, names, groups and routes, so it can be wrong; a false alarm is answered in the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from forecast.buildfile.cautions import mentions
from forecast.buildfile.choosing import counts
from forecast.buildfile.incoterms import incoterm
from forecast.buildfile.rulefiles import Country, country_of
from forecast.buildfile.schema import Build, Costed, Currency, Line
from forecast.figures.kinds import Known

SEA_WORDS = ("sea", "ocean", "lcl", "fcl", "container", "port", "vessel", "w/m", "groupage")
OTHER_WAYS = ("courier", "air", "airfreight", "road", "parcel", "post", "truck")
DUTY_WORDS = ("duty", "duties", "customs duty", "tariff")
TAX_WORDS = ("vat", "gst", "hst", "import tax", "sales tax", "consumption tax", "import_vat", "import_gst")

_FEE_WORDS = ("fee", "fees", "disbursement", "advance", "advancing")

_TWO_PACK = (
    "2k", "2-k", "two-pack", "two pack", "twopack", "2-pack", "2 pack", "two-component", "2-component",
    "two component", "2 component", "isocyanate", "isocyanates", "hardener", "hardeners", "clear coat", "clear coats",
    "clearcoat", "clear-coat",
)  # fmt: skip
_PAINT = (
    "paint", "paints", "painting", "painted", "colour", "color", "clear", "lacquer", "lacquers", "base coat",
    "basecoat", "spray", "sprayed", "spraying", "topcoat", "top coat", "respray",
)  # fmt: skip
_NOT_PAINT = (
    "filler", "stopper", "resin", "resins", "laminate", "laminating", "gelcoat", "polyester", "fibreglass",
    "fiberglass", "adhesive", "adhesives", "glue", "bonding", "sealant", "sealer",
)  # fmt: skip
"""Two-pack things that are spread and not sprayed, unless their name speaks of paint as well."""
_PAINTED_BY_OTHERS = ("by a shop", "by the shop", "by a painter", "by the painter", "at the painter")
_NO_SPRAYING = (
    "film", "shop", "painter", "polish", "remover", "stripper", "touch-up", "pen", "pens", "brush", "wax", "underseal",
    "adhesive", "grease", "gauge", "lens", "lenses", "lamp", "lamps", "indicator", "indicators", "badge", "badges",
)  # fmt: skip
_BOUGHT = ("kit", "wheels", "freight", "import")
"""Groups in which a colour describes what is bought."""

_SHEET_METAL = (
    "arch", "arches", "wing", "wings", "fender", "fenders", "quarter", "quarters", "sill", "sills", "rocker",
    "rockers", "wheel well", "wheel wells", "wheelhouse",
)  # fmt: skip
_CUT = (
    "cut", "cuts", "cutting", "close", "closed", "closing", "weld", "welds", "welded", "welding", "welder", "tubbed",
)  # fmt: skip

_PARTS_OF_WHEELS = (
    "fixing", "fixings", "bolt", "bolts", "nut", "nuts", "stud", "studs", "spacer", "spacers", "alignment",
    "mounting", "balancing", "fitting", "bearing", "bearings", "tyre", "tyres", "mock-up",
)  # fmt: skip
_NOT_NEW_WHEELS = (
    "old", "refurbish", "refurbishing", "repair", "paint", "polish", "cleaner", "storage",
    "delivery", "freight", "chocks", "cutting", "grinding", "flap", "abrasive", "dolly", "dollies", "arch", "arches",
    "insurance", "duty", "vat", "gst", "inspection", "removed", "sold", "sale",
)  # fmt: skip
_WITH_PARTS = ("wheels with", "wheels including", "wheels incl", "rims with", "wheel set with")


def _is_new_wheels(text: str, title: str, in_group: bool) -> bool:
    """Tell whether words speak of wheels that are bought, and not of work on wheels or of parts of theirs."""
    if not mentions(text, ("wheels", "rims", "alloys", "wheel set", "alloy wheel")):
        return False
    if not in_group and mentions(text, _NOT_NEW_WHEELS):
        return False
    return not mentions(title, _PARTS_OF_WHEELS) or mentions(title, _WITH_PARTS)


def _margin(currency: Currency | None) -> float:
    return currency.margin if currency is not None else 0


def _is_nothing(line: Line) -> bool:
    """Tell whether a line is there, but is said to cost nothing."""
    figures = (line.amount, line.percent, line.price, line.quantity)
    return any(isinstance(figure, Known) and figure.value == 0 for figure in figures)


def text_of(item: Costed) -> str:
    """Give the words by which a line or event is recognised: its id and its name."""
    return f"{item.id} {item.name or ''}"


@dataclass(frozen=True)
class Facts:
    """What a build file tells about the build."""

    build: Build

    @cached_property
    def law(self) -> Country:
        """What is known of the rules of the country that the car is registered in."""
        return country_of(self.build.build.country)

    def lines(self, words: Iterable[str], groups: Iterable[str] = ()) -> Iterator[Line]:
        """Give the lines that mention one of the words, in some groups or all."""
        allowed, words = frozenset(groups), tuple(words)
        for line in self.build.line:
            if (not allowed or line.group in allowed) and mentions(text_of(line), words):
                yield line

    def has(self, words: Iterable[str], groups: Iterable[str] = ()) -> bool:
        """Tell whether some line, or something of a consignment, mentions one of the words."""
        allowed, words = frozenset(groups), tuple(words)
        return any(True for _ in self.lines(words, allowed)) or any(
            (not allowed or item.group in allowed) and mentions(f"{item.id} {item.name or ''}", words)
            for consignment in self.build.consignment
            for item in consignment.items
        )

    def has_event(self, words: Iterable[str]) -> bool:
        """Tell whether some ``[[event]]`` mentions one of the words."""
        words = tuple(words)
        return any(mentions(text_of(event), words) for event in self.build.event)

    def by_oneself(self, item: Costed) -> bool:
        """Tell whether a line counts in a scenario in which its package is done by oneself."""
        if item.route is None or not item.packages:
            return True
        if item.route != "self":
            return False
        scenarios = self.build.scenario.values()
        return not scenarios or any(counts(item, scenario) for scenario in scenarios)

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
        bought = ("kit", "freight", "import", "wheels", "hardware")
        if any(line.group == "import" for line in self.build.line) or self.has(
            ("import", "imported"), bought
        ):
            return True
        return self.has(SEA_WORDS, ("freight",))

    @cached_property
    def unconsigned_import(self) -> bool:
        """Some line comes from abroad on its own, so that no consignment works out its charges."""
        if not self.build.consignment:
            return self.imported
        home = self.build.build.currency
        return bool(self._sea_freight) or any(
            figure is not None and figure.currency not in (None, home)
            for line in self.build.line
            if line.group not in ("freight", "import", "labour", "other")
            for figure in (line.amount, line.price)
        )

    @property
    def _sea_freight(self) -> list[Line]:
        """The lines of freight that say that it goes by sea."""
        after = ("arrival", "delivery", "collection", "insurance", "terminal", "handling", "charges", "fees")
        return [line for line in self.lines(SEA_WORDS, ("freight",)) if not mentions(text_of(line), after)]

    @cached_property
    def by_sea(self) -> bool:
        """Lines come by sea; freight from abroad that does not say how is taken for it, if there is no consignment."""
        if not self.unconsigned_import:
            return False
        if self.build.consignment:
            return bool(self._sea_freight)
        freight = [line for line in self.build.line if line.group == "freight"]
        told = [line for line in freight if mentions(text_of(line), SEA_WORDS)]
        other = [line for line in freight if mentions(text_of(line), OTHER_WAYS)]
        return bool(told) or (bool(freight) and not other)

    @cached_property
    def duty(self) -> tuple[Line, ...]:
        """The lines of duty in any group, fees for advancing it left out."""
        return tuple(
            line
            for line in self.lines(DUTY_WORDS)
            if not mentions(text_of(line), (*_FEE_WORDS, "heavy duty", "duty free"))
        )

    @cached_property
    def import_tax(self) -> tuple[Line, ...]:
        """The lines of tax on imports, in group import or called so."""
        named = ("import vat", "import gst", "import hst", "import tax", "customs vat", "vat on import")
        return tuple(
            line
            for line in self.build.line
            if mentions(text_of(line), (*TAX_WORDS, "tax") if line.group == "import" else named)
            and not mentions(text_of(line), _FEE_WORDS)
            and not _is_nothing(line)
        )

    @cached_property
    def new_wheels(self) -> bool:
        """New wheels are bought: a line or something of a consignment says so, whatever its group."""
        goods = any(
            _is_new_wheels(f"{item.id} {item.name or ''}", item.name or item.id, item.group == "wheels")
            for consignment in self.build.consignment
            for item in consignment.items
        )
        return goods or any(
            _is_new_wheels(text_of(line), line.title, line.group == "wheels")
            for line in self.build.line
            if line.amount is not None or line.price is not None
        )

    @cached_property
    def cut_arches(self) -> bool:
        """Inner arches or other sheet metal are cut, closed or welded."""
        words = (
            "inner arch", "inner arches", "arches cut", "arch cut", "cut arches", "tubs", "arches self",
            "arches shop", "cut and close", "cut and closed", "wide arch", "wide arches", "box arch", "box arches",
        )  # fmt: skip
        packages = {line.package for line in self.build.line}
        return (
            "arches" in packages
            or self.has(words)
            or any(
                mentions(text_of(line), _CUT) and not mentions(text_of(line), ("gap", "gaps"))
                for line in self.lines(_SHEET_METAL)
            )
        )

    @cached_property
    def paints_oneself(self) -> bool:
        """Paint that may hold isocyanates is sprayed by the builder in some scenario."""
        return any(self.by_oneself(line) and self._is_sprayed(line) for line in self.build.line)

    def _is_sprayed(self, line: Line) -> bool:
        """Tell whether a line is sprayed; what says that it is two-pack comes before any exclusion."""
        text = text_of(line)
        if mentions(text, _PAINTED_BY_OTHERS):
            return False
        if mentions(text, _TWO_PACK):
            is_paint = mentions(text, (*_PAINT, "primer", "primers", "clearcoat", "clear-coat", "isocyanate"))
            return is_paint or not mentions(text, _NOT_PAINT)
        return line.group not in _BOUGHT and mentions(text, _PAINT) and not mentions(text, _NO_SPRAYING)

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
        """Something comes from abroad, and its consignment, if it has one, says nothing of insurance."""
        return self.unconsigned_import or any(
            item.insurance_percent is None
            and item.insurance is None
            and not incoterm(item.incoterm).seller_bears_transit
            for item in self.build.consignment
        )

    @cached_property
    def no_margin(self) -> bool:
        """Something is paid in another currency, and no margin of card or bank is counted for it."""
        home, known = self.build.build.currency, self.build.currency
        codes = {
            figure.currency
            for line in self.build.line
            for figure in (line.amount, line.price)
            if figure is not None
        }
        lines = any(code not in (None, home) and not _margin(known.get(code or "")) for code in codes)
        return lines or any(
            item.currency not in (None, home)
            and item.payment_fee is None
            and not (
                _margin(known.get(item.currency or "")) if item.card_margin is None else item.card_margin
            )
            for item in self.build.consignment
        )

    @cached_property
    def untaxed_duty(self) -> bool:
        """There is duty but no import tax on it, in a country that has one."""
        return bool(self.duty) and not self.import_tax and self.law.taxed

    @cached_property
    def undutied_tax(self) -> bool:
        """There is import tax but no duty, in a country in which goods of a kit may bear one."""
        return self.unconsigned_import and bool(self.import_tax) and not self.duty and self.law.dutied

    @cached_property
    def no_dues(self) -> bool:
        """A kit, or something from abroad, comes by lines alone, with neither duty nor import tax."""
        kit = not self.build.consignment and self.kit
        return (self.unconsigned_import or kit) and not self.duty and not self.import_tax

    @cached_property
    def unshipped(self) -> bool:
        """A kit comes by lines alone."""
        return self.kit and not self.build.consignment


__all__ = ["Facts", "text_of"]
