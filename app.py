"""Starts the dashboard: ``streamlit run app.py``, or ``streamlit run app.py -- FOLDER`` for a build of one's own."""

import sys

from forecast.dashboard.main import run

run(sys.argv[1] if len(sys.argv) > 1 else None)
