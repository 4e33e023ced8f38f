"""The trade and what must be told are pure: no clock, IO or hidden chance; planted offences are caught."""

from pathlib import Path

import pytest
from purity import ALLOWED_MODULES, offences

SOURCE = Path(__file__).parents[2] / "daemon" / "coldbrood"
ROOMS = {
    "brooder": ALLOWED_MODULES | {"coldbrood.brooder"},
    "watch": ALLOWED_MODULES | {"coldbrood.brooder", "coldbrood.watch"},
}
PURE_FILES = [(room, path) for room in ROOMS for path in sorted((SOURCE / room).rglob("*.py"))]


@pytest.mark.parametrize(("room", "path"), PURE_FILES, ids=lambda value: getattr(value, "stem", value))
def test_pure_room_keeps_the_law(room: str, path: Path) -> None:
    assert offences(path.read_text(encoding="utf-8"), ROOMS[room]) == []


def test_both_rooms_were_walked() -> None:
    walked = {path.relative_to(SOURCE).as_posix() for _, path in PURE_FILES}
    assert {"brooder/specs.py", "watch/events.py"} <= walked


PLANTED = [
    "import time",
    "import os.path",
    "import random",
    "import logging",
    "import sqlite3",
    "import scipy.linalg",
    "from os import environ",
    "from . import sibling",
    "from coldbrood.journal import store",
    "import coldbrood.service",
    "import coldbrood",
    "from coldbrood import journal",
    "from coldbrood.brooderish import x",
    "def f():\n    import time",
    "def f():\n    print('x')",
    "def f():\n    return open('x')",
    "x = eval('1')",
    "x = exec('1')",
    "x = __import__('time')",
    "x = input()",
    "x = hash('name')",
    "x = id(object())",
    "read = open",
    "def f(reader=open):\n    return reader('x')",
    "import datetime\nx = datetime.datetime.now()",
    "from datetime import datetime\nx = datetime.now(tz=None)",
    "from datetime import datetime as d\nclock = d.now",
    "from datetime import datetime\nx = datetime.utcnow()",
    "from datetime import date\nx = date.today()",
    "from datetime import datetime\nx = datetime.fromtimestamp(0.0)",
    "from datetime import datetime\nx = datetime.fromtimestamp(0.0).astimezone()",
    "import numpy as np\nx = np.random.rand(3)",
    "import numpy as np\nx = np.random.seed(3)",
    "import numpy as np\nx = np.random.default_rng()",
    "import numpy as np\nx = np.random.default_rng(None)",
    "import numpy as np\nx = np.random.default_rng(seed=None)",
    "import numpy as np\nx = np.random.SeedSequence()",
    "import numpy as np\nmake = np.random.default_rng",
    "import numpy\nx = numpy.random.normal()",
    "from numpy.random import default_rng\nx = default_rng()",
    "from numpy import random",
    "import numpy.random as r\nx = r.rand()",
    "import numpy as np\nx = np.load('x')",
    "import numpy as np\nx = np.savetxt('x', 1)",
    "from numpy import fromfile",
    "import numpy as np\nx = np.array([1.0]).tofile('x')",
    "count = 0\ndef f():\n    global count\n    count += 1",
]

CLEAN = [
    "import math\nimport numpy as np\nx = np.exp(math.pi)",
    "from numpy.typing import NDArray",
    "import numpy.typing as npt",
    "from coldbrood.brooder.specs import BoxSpec",
    "from coldbrood.brooder import specs",
    "import numpy as np\nrng = np.random.default_rng(7)",
    "import numpy as np\ndef f(seed):\n    return np.random.Generator(np.random.PCG64(seed))",
    "import numpy as np\ndef f(g: np.random.Generator):\n    return g.normal()",
    "from datetime import datetime, timezone\nx = datetime.fromtimestamp(0.0, timezone.utc)",
    "from datetime import datetime\nx = datetime.fromtimestamp(0.0, tz=zone).astimezone(zone)",
    "def f(now):\n    return now.t_s",
    "def f(scene):\n    return scene.now.t_s",
    "def f(now):\n    clock.print = 3\n    return {'open': 1}['open']",
]


@pytest.mark.parametrize("source", PLANTED)
def test_a_planted_offence_is_caught(source: str) -> None:
    assert offences(source, ROOMS["brooder"])


@pytest.mark.parametrize("source", CLEAN)
def test_pure_code_is_let_through(source: str) -> None:
    assert offences(source, ROOMS["brooder"]) == []


def test_the_trade_may_not_import_what_must_be_told() -> None:
    source = "from coldbrood.watch.events import Reading"
    assert offences(source, ROOMS["brooder"])
    assert offences(source, ROOMS["watch"]) == []
