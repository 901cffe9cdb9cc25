"""`python -m slopewright`."""

import sys

from .cli import main

sys.exit(main())
