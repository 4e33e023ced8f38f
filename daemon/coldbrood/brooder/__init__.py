"""The trade: bands, heat, estimate and plan. Pure: no clock, no IO, no hidden randomness."""
