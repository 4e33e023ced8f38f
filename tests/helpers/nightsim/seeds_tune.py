"""Seeds to tune on. A batch of one of these may be looked at in any way."""

TUNE = tuple(range(1, 200))
