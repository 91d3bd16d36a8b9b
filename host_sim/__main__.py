"""`python -m host_sim` does what `integer-pilot` does."""

import sys

from host_sim.cli.main import main

sys.exit(main())
