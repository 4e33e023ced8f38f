"""`coldbrood setup`: a few questions, a test by the phone in the hand, one config file."""
