"""A night in the life of one hen box, in under two minutes: simulated site, real daemon."""
