#!/usr/bin/env python3
"""The page with two years behind it: how fast, how large, how much memory, how well it reads.

Run by hand: `.venv/bin/python tests/benchmarks/page.py [--quick] [--json]`. It needs mosquitto and Chromium.
It exits 0 whether the bars hold or not.
"""

import argparse
import http.client
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import page_years
from bench import NO_PAGE, Bench
from broker import Broker, free_port
from children import resident_mib, wait_until_idle
from figures import Figure, as_json, machine, percentile, say, verdicts
from page_site import NIGHT, PAGES, PageSite, cooling, enter, outside
from path_lag import box_names, more_boxes
from phone import SMALL, WORDS_ABOVE, at, chromium, least_contrast, looks, opened, pocket, violations

FIRST_PAGE = ("/", "/coldbrood.css", "/coldbrood.js", "/icon.svg", "/coldbrood.webmanifest")
MAIN_FIGURES = ".answer, .figures b, button.large, summary, .sayings li, .day dd, td"
PROBES = 6
PATIENCE_S = 120.0
BARS = {
    "first_page_95_ms": 150.0,
    "first_page_kb": 60.0,
    "page_adds_mib": 8.0,
    "words_to_the_first_answer": 40.0,
}


@dataclass(frozen=True, slots=True)
class Size:
    """Days of journal, seconds between readings, how often each page is asked for."""

    days: float
    step_s: float
    asks: int


FULL, QUICK, TINY = Size(730.0, 300.0, 300), Size(200.0, 900.0, 100), Size(3.0, 900.0, 10)


@contextmanager
def running(
    folder: Path, broker: Broker, size: Size, page: bool, made: Path | None = None
) -> Iterator[PageSite]:
    """A daemon of six probes on such a journal, with the page or without it, a day of readings behind it.

    The journal is made once: into `made` if it is not there yet, and copied from it if it is.
    """
    port = free_port()
    table = f'address = "127.0.0.1"\nport = {port}' if page else NO_PAGE
    boxes = more_boxes(box_names(PROBES)[1:])
    with Bench(folder, broker, clock=f"1@{NIGHT}", page=table, probes=boxes) as bench:
        end_s = datetime.fromisoformat(NIGHT).timestamp() - 60.0
        if made is None or not made.exists():
            count = page_years.write(bench.journal_path, bench.config.site, end_s, size.days, size.step_s)
            say(f"{count} readings in {bench.journal_path.stat().st_size / 1e6:.0f} MB")
            if made is not None:
                shutil.copyfile(bench.journal_path, made)
        else:
            shutil.copyfile(made, bench.journal_path)
        bench.launch()
        bench.wait_for(lambda: "link=larch-lane state=up" in bench.log_text(), "the daemon", PATIENCE_S)
        site = PageSite(bench, port)
        site.send_day("outdoor", outside(26))
        for name in box_names(PROBES):
            site.send_day(f"box-{name}", cooling(26, (20, 14, 9.2, 4.7)))
        site.keep()
        yield site


def ask(site: PageSite, path: str, cookie: str) -> tuple[float, int]:
    """Milliseconds of one request on a connection of its own, and the bytes of its body."""
    began_s = time.perf_counter()
    link = http.client.HTTPConnection(site.address.removeprefix("http://"), timeout=60)
    link.request("GET", path, headers={"Cookie": cookie})
    reply = link.getresponse()
    body = reply.read()
    assert reply.status == 200, f"{path}: {reply.status}"
    link.close()
    return 1000.0 * (time.perf_counter() - began_s), len(body)


def speed(site: PageSite, asks: int) -> list[Figure]:
    """Each page at 95 %, the first look of all, and a file of the same server as the baseline."""
    cookie = enter(site)
    first_ms, _ = ask(site, "/", cookie)
    found = [Figure("first_look_ms", first_ms, float("inf"))]
    for path in ("/icon.svg", *PAGES):
        times = [ask(site, path, cookie)[0] for _ in range(asks if path == "/" else max(5, asks // 10))]
        name = {"/icon.svg": "plain_file", "/": "first_page"}.get(path, path.strip("/").replace("/", "_"))
        bar = BARS.get(f"{name}_95_ms", float("inf"))
        found.append(Figure(f"{name}_95_ms", percentile(times, 95), bar))
    total = sum(ask(site, path, cookie)[1] for path in FIRST_PAGE)
    found.append(Figure("first_page_kb", total / 1000.0, BARS["first_page_kb"]))
    return found


def sight(site: PageSite) -> list[Figure]:
    """What a browser finds: faults of access, small targets, contrast, words of the first glance."""
    faults = small = 0
    contrast = 99.0
    with chromium() as browser, pocket(browser) as phone:
        page = opened(phone, site.link)
        words = len(page.evaluate(WORDS_ABOVE, ".box ~ *"))
        for path in PAGES:
            at(page, site.address + path)
            for _ in looks(page):
                faults += len(violations(page))
                small += len(page.evaluate(SMALL, 44.0))
                contrast = min(contrast, least_contrast(page, MAIN_FIGURES))
    return [
        Figure("axe_violations", faults, 0.0),
        Figure("targets_under_44_px", small, 0.0),
        Figure("contrast_short_of_7", max(0.0, 7.0 - contrast), 0.0),
        Figure("words_to_the_first_answer", words, BARS["words_to_the_first_answer"]),
    ]


def memory(folder: Path, broker: Broker, size: Size) -> tuple[list[Figure], list[Figure]]:
    """The daemon without the page, and with it once every page was looked at; what was seen on the way."""
    made = folder / "made.db"
    with running(folder / "without", broker, size, page=False, made=made) as site:
        without = _rests(site)
    with running(folder / "with", broker, size, page=True, made=made) as site:
        site.bench.wait_for(site.is_up, "the page to answer", PATIENCE_S)
        timed = speed(site, size.asks)
        with_page = _rests(site)
        seen = sight(site)
    adds = Figure("page_adds_mib", with_page - without, BARS["page_adds_mib"])
    return [Figure("resident_without_mib", without, float("inf")), adds], [*timed, *seen]


def _rests(site: PageSite) -> float:
    assert site.bench.daemon is not None
    wait_until_idle(site.bench.daemon.pid, PATIENCE_S)
    return resident_mib(site.bench.daemon.pid)


def main(argv: Sequence[str] | None = None) -> int:
    """Run it, print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="200 days in place of two years")
    parser.add_argument("--tiny", action="store_true", help="three days: for its own test")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    args = parser.parse_args(argv)
    size = TINY if args.tiny else QUICK if args.quick else FULL
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("broker", "with", "without"):
            (folder / part).mkdir()
        broker = Broker(folder / "broker")
        broker.start()
        try:
            weighed, rest = memory(folder, broker, size)
        finally:
            broker.stop()
        say(machine(folder))
    figures = [*rest, *weighed]
    judged = [figure for figure in figures if figure.bar != float("inf")]
    if args.json:
        print(as_json(judged))
    else:
        print(verdicts(figures))
    return 0


if __name__ == "__main__":
    sys.exit(main())
