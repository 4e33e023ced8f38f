#!/usr/bin/env python3
"""What Lighthouse, a program of others that judges web pages, says of each page on a slowed phone.

Run by hand: `npm install --prefix /tmp/lighthouse lighthouse`, then
`.venv/bin/python tests/benchmarks/lighthouse.py /tmp/lighthouse [--json]`. It needs mosquitto and Chromium.
Scores run from 0 to 100. No bar: its `seo` asks for what a page of nobody else's business does not need.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from broker import Broker
from figures import Figure, machine, say, verdicts
from page_site import PAGES, cooling, enter, outside, page_site
from phone import ARGS, CHROMIUM

SCORES = ("performance", "accessibility", "best-practices", "seo")
LIMIT_S = 240.0


def judge(cli: Path, address: str, cookie: str, folder: Path) -> dict[str, Any]:
    """Lighthouse's whole report of one page, under its own slow phone and network."""
    headers, out = folder / "headers.json", folder / "out.json"
    headers.write_text(json.dumps({"Cookie": cookie}))
    flags = f"--chrome-flags=--headless=new {' '.join(ARGS)}"
    asked = [f"--extra-headers={headers}", "--output=json", f"--output-path={out}", "--quiet", flags]
    subprocess.run(
        ["node", str(cli), address, *asked],
        check=True,
        timeout=LIMIT_S,
        env={**os.environ, "CHROME_PATH": CHROMIUM},
    )
    return dict(json.loads(out.read_text()))


def main(argv: Sequence[str] | None = None) -> int:
    """Run it, print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("installed", type=Path, help="the folder npm installed it into")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    args = parser.parse_args(argv)
    cli = args.installed / "node_modules" / "lighthouse" / "cli" / "index.js"
    if not cli.is_file():
        parser.error(f"{cli}: not there: npm install --prefix {args.installed} lighthouse")
    found: list[Figure] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "broker").mkdir()
        broker = Broker(folder / "broker")
        broker.start()
        try:
            with page_site(folder, broker) as site:
                site.send_day("outdoor", outside(26))
                site.send_day("box-a", cooling(26, (20, 14, 9.2, 4.7)))
                site.keep()
                for path in PAGES:
                    told = judge(cli, site.address + path, enter(site), folder)
                    page = path.strip("/").replace("/", "_") or "now"
                    found += [
                        Figure(f"{page}_{score}", 100.0 * told["categories"][score]["score"], float("inf"))
                        for score in SCORES
                    ]
                    shown_ms = told["audits"]["largest-contentful-paint"]["numericValue"]
                    found.append(Figure(f"{page}_largest_paint_ms", shown_ms, float("inf")))
        finally:
            broker.stop()
        say(machine(folder))
    values = {one.name: {"value": round(one.value, 1), "bar": None, "holds": None} for one in found}
    print(json.dumps(values) if args.json else verdicts(found))
    return 0


if __name__ == "__main__":
    sys.exit(main())
