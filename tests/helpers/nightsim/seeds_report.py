"""Seeds to report on. Nothing is chosen, mended or tuned by looking at a batch of one of these."""

REPORT = tuple(range(1001, 1201))
