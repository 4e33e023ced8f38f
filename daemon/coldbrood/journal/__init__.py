"""The journal: every reading, alarm and message in one SQLite file."""
