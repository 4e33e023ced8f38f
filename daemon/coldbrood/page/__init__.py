"""The page for the phone, shown by the board itself."""
