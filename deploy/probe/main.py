"""Run by MicroPython at each start of the board, also at each end of a deep sleep: one wake, then sleep."""

import wake

wake.run()
