"""Published overrun figures and a rule of thumb, to hold a contingency against; none of them enters it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Published:
    """One published figure.

    Attributes
    ----------
    id, what : str
    low, high : float
        Share added to the estimate; equal where one figure is published.
    source : str
    standing : str
        How far it can be trusted, and for what.
    of_cost : bool
        False where it is about time.
    """

    id: str
    what: str
    low: float
    high: float
    source: str
    standing: str
    of_cost: bool = True


PUBLISHED: tuple[Published, ...] = (
    Published(
        "rule_of_thumb", "Contingency for renovation, 10 to 20 % of the budget", 0.10, 0.20,
        "Common advice on renovation sites",
        "A rule of thumb with no data behind it.",
    ),
    Published(
        "standard_buildings", "Optimism-bias uplift on capital cost, standard buildings", 0.02, 0.24,
        "Mott MacDonald (2002), Review of Large Public Procurement in the UK, table 2; HM Treasury Green Book "
        "supplementary guidance",
        "Published lower and upper bound, of public works.",
    ),
    Published(
        "non_standard_buildings", "Optimism-bias uplift on capital cost, non-standard buildings", 0.04, 0.51,
        "Mott MacDonald (2002), table 2; HM Treasury Green Book supplementary guidance",
        "Published lower and upper bound, of public works.",
    ),
    Published(
        "equipment_development", "Optimism-bias uplift on capital cost, equipment and development", 0.10, 2.00,
        "Mott MacDonald (2002), table 2; HM Treasury Green Book supplementary guidance",
        "Published lower and upper bound, of public works.",
    ),
    Published(
        "roads_by_stage", "Optimism-bias uplift, roads, late and early stage", 0.03, 0.44,
        "Transport Scotland, Scottish Transport Appraisal Guidance, table 13.4",
        "Published; of roads.",
    ),
    Published(
        "transport_projects", "Mean overrun of 258 transport projects: roads 20.4 %, rail 44.7 %", 0.204, 0.447,
        "Flyvbjerg, Holm & Buhl (2002)",
        "Published means; 90 of 100 such projects overran.",
    ),
    Published(
        "kitchens", "Kitchen remodelling, expected against paid (USD 18,658 and 38,769)", 1.08, 1.08,
        "A 2002 survey, as quoted by a web page",
        "Second-hand: the survey itself was not seen.",
    ),
    Published(
        "own_dates", "Student theses: time taken beyond the date expected (55.5 against 33.9 days)", 0.64, 0.64,
        "Buehler, Griffin & Ross (1994), J. Pers. Soc. Psychol. 67, 366-381, as quoted by web pages",
        "About time, not money.",
        of_cost=False,
    ),
)  # fmt: skip
"""Figures for comparison. No statistic of car conversions was found."""

NOT_FOUND = "No published statistic of vehicle conversions was found, only anecdotes."
