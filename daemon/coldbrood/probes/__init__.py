"""Edges in: bytes and wires become readings or refusals with a reason."""
