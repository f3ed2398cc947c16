"""Starts the dashboard: ``streamlit run app.py``, or ``streamlit run app.py -- FOLDER`` for a build of one's own."""

import sys

if __name__ == "__main__":  # one run of a page
    from forecast.dashboard.main import run

    run(sys.argv[1] if len(sys.argv) > 1 else None)
else:  # the server: Streamlit finds "app" here, and imports it
    from streamlit import App

    from forecast.dashboard.server import parts

    app = App(__file__, **parts())
