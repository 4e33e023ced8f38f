"""Promise: of any bytes, loading makes a config or a list of problems, one clean line each, no more."""

import random
from pathlib import Path

from fuzz_config import fuzz, outcome

from coldbrood.settings.load import ConfigProblems


def test_any_file_is_a_config_or_problems_that_can_be_printed(tmp_path: Path) -> None:
    """A hundred thousand of them: `tests/benchmarks/faults.py --long --only config`."""
    reached = fuzz(tmp_path, 2000)
    # Too wild mutations would only ever try the TOML reader, which is not ours.
    assert reached["good"] > 120
    assert reached["bad"] > 800
    assert reached["no text"] > 120


def test_bytes_that_are_no_text_at_all(tmp_path: Path) -> None:
    path = tmp_path / "coldbrood.toml"
    rng = random.Random(20260412)
    for _ in range(300):
        path.write_bytes(rng.randbytes(rng.randrange(200)))
        assert isinstance(outcome(path), ConfigProblems)
