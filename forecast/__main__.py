"""``python -m forecast``: the command line where its script is not on the path."""

import sys

from forecast.views.cli import main

sys.exit(main())
