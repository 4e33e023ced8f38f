"""coldbrood: keeps a hen box without mains power warm through the night."""

__version__ = "0.1.0"
