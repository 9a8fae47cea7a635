"""`python -m webapp` is `lodeworth`."""

import sys

from webapp.cli import main

sys.exit(main())
