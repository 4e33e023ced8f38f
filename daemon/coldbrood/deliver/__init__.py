"""Edges out: one message to one channel, and what became of it."""
