"""Facts of the trade and published overrun figures that advice is held against, with their sources."""

from __future__ import annotations

FARMING_OUT_AGAINST_DIY = (2.5, 3.0)
"""Cost of farming the whole conversion out, over doing it oneself: a check value alone (common practice, no source)."""

OPTIMISM_UPLIFTS = {
    "standard_buildings": (0.02, 0.24),
    "non_standard_buildings": (0.04, 0.51),
    "equipment_development": (0.10, 2.00),
}
"""Lower and upper capital-cost uplift: Mott MacDonald (2002), Review of Large Public Procurement in the UK, table 2,
as in HM Treasury's Green Book supplementary guidance on optimism bias."""

ROADS_BY_STAGE = (0.03, 0.44)
"""Latest and earliest stage: Transport Scotland, Scottish Transport Appraisal Guidance, table 13.4."""

TRANSPORT_OVERRUNS = {"roads": 0.204, "rail": 0.447}
"""Mean cost overrun: Flyvbjerg, Holm & Buhl (2002), 258 projects."""

UNDERSTATED_SPREAD = {(10, 0.2): 0.4024, (10, 0.25): 0.4453, (10, 0.3): 0.4801, (30, 0.2): 0.6165}
"""Share of the standard deviation that is missed when n equal, correlated figures are taken as independent:
1 - 1/sqrt(1 + (n - 1) rho). The remark is Book's (from memory); the numbers follow from the formula."""

NORMALS = [(100.0, 20.0), (200.0, 40.0), (300.0, 60.0)]
"""Means and standard deviations; everything below is closed form for these (multivariate normal algebra)."""

INDEPENDENT_VARIANCE_SHARES = (0.071429, 0.285714, 0.642857)
CORRELATED_VARIANCE_SHARES = (0.121359, 0.310680, 0.567961)  # correlation 0.3
P90_SHARES = (
    114.117978,
    236.142022,
    366.072134,
)  # Euler allocation of P90, correlation 0.3; adds up to 716.332133
SHORTFALL_SHARES = (119.333451, 249.493635, 390.480552)  # of the mean beyond P90
SPREAD = 90.774446  # of the total, correlation 0.3
SPREAD_GIVEN_FIRST = 75.762788  # with the first figure known

FOUR_SPREADS = ([(100.0, sd) for sd in (10.0, 20.0, 30.0, 40.0)], (0.033333, 0.133333, 0.3, 0.533333))
"""Four independent figures, and their variance shares."""
