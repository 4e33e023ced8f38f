"""`python -m coldbrood` is `coldbrood`."""

import sys

from coldbrood.cli.main import main

sys.exit(main())
