"""A Monte Carlo budget and risk forecaster for one owner-built vehicle body conversion."""
