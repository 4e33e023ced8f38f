"""Promise: the mark of the mirror counts only in its own journal; in another one, nothing is passed over.

A real feed, a real journal file and a real HTTP server; what the server was sent is read back line by line.
"""

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from journal_records import START_WALL_S, open_journal, reading
from receiver import Receiver
from sites import make_site

from coldbrood.journal.rows import Batch
from coldbrood.mirror.feed import Feed, Mark, MirrorNews
from coldbrood.mirror.server import Server

PAUSE_S, AGAIN_AFTER_S = 0.05, 0.2


@pytest.fixture
def server() -> Iterator[Receiver]:
    with Receiver() as made:
        yield made


def fill(path: Path, first: int, count: int) -> None:
    """Keep so many readings, each with a time of its own."""
    journal = open_journal(path)
    journal.commit(Batch(taken=[reading(n) for n in range(first, first + count)]))
    journal.close()


def remove(path: Path) -> None:
    for end in ("", "-wal", "-shm"):
        Path(f"{path}{end}").unlink(missing_ok=True)


def sent(server: Receiver, after: int = 0) -> set[int]:
    """The numbers of the readings in the requests after so many, by their times."""
    requests = server.received[after:]
    times_ms = [int(at) for r in requests for at in re.findall(rb" (\d{13})$", r.body, re.MULTILINE)]
    return {round((at / 1000.0 - START_WALL_S) / 60.1) for at in times_ms}


class Running:
    """A feed at work, and the marks it has posted."""

    def __init__(self, path: Path, server: Receiver, mark: Mark) -> None:
        self.marks: list[Mark] = []
        far = Server(f"http://{server.address}", "home", "coldbrood", None)
        self.feed = Feed(make_site(), path, far, mark, self._post, PAUSE_S, AGAIN_AFTER_S)
        self._server = server

    def _post(self, news: Mark | MirrorNews) -> None:
        if isinstance(news, Mark):
            self.marks.append(news)

    def __enter__(self) -> "Running":
        self.feed.start()
        return self

    def __exit__(self, *problem: object) -> None:
        self.feed.stop(10.0)

    def wait(self, reached: Callable[[], bool], what: str) -> None:
        """Until it is so, or fail."""
        for _ in range(400):
            if reached():
                return
            time.sleep(0.05)
        raise AssertionError(f"waited for {what}; sent {sorted(sent(self._server))}, marks {self.marks}")


def settled_mark(path: Path, server: Receiver, count: int) -> Mark:
    """The mark after all of a journal is safe."""
    with Running(path, server, Mark(0)) as run:
        run.wait(lambda: [mark.seq for mark in run.marks[-1:]] == [count], "the whole journal to be safe")
    return run.marks[-1]


def test_a_mark_goes_on_in_its_own_journal(tmp_path: Path, server: Receiver) -> None:
    path = tmp_path / "j.sqlite"
    fill(path, 0, 10)
    mark = settled_mark(path, server, 10)
    fill(path, 10, 3)
    before = len(server.received)
    with Running(path, server, mark) as run:
        run.wait(lambda: bool(run.marks), "the rest to be safe")
    assert sent(server, after=before) == {10, 11, 12}, "what was safe is not sent again"


@pytest.mark.parametrize("count", [4, 10, 30])
def test_a_mark_kept_beside_a_journal_made_anew_skips_nothing(
    tmp_path: Path, server: Receiver, count: int
) -> None:
    path = tmp_path / "j.sqlite"
    fill(path, 0, 10)
    mark = settled_mark(path, server, 10)
    remove(path)
    fill(path, 100, count)
    with Running(path, server, mark) as run:
        run.wait(lambda: sent(server) >= set(range(100, 100 + count)), "all of the new journal")


def test_a_mark_of_an_older_coldbrood_ahead_of_the_journal_skips_nothing(
    tmp_path: Path, server: Receiver
) -> None:
    path = tmp_path / "j.sqlite"
    fill(path, 100, 5)
    with Running(path, server, Mark(9)) as run:
        run.wait(lambda: sent(server) == set(range(100, 105)), "all of the journal")


@pytest.mark.parametrize("count", [4, 30])
def test_a_journal_made_anew_under_the_feed_is_sent_whole_though_it_grows_past_the_mark(
    tmp_path: Path, server: Receiver, count: int
) -> None:
    path, draft = tmp_path / "j.sqlite", tmp_path / "next.sqlite"
    fill(path, 0, 10)
    fill(draft, 100, count)
    with Running(path, server, Mark(0)) as run:
        run.wait(lambda: sent(server) == set(range(10)), "the first journal")
        remove(path)
        draft.rename(path)
        run.wait(lambda: sent(server) >= set(range(100, 100 + count)), "all of the new journal")
        run.wait(lambda: any(mark.wall_s == reading(99 + count).wall_s for mark in run.marks), "its mark")


def test_without_a_mark_a_journal_is_sent_from_its_start(tmp_path: Path, server: Receiver) -> None:
    """The other way round: the mark is gone with the old journal, the readings are there."""
    path = tmp_path / "j.sqlite"
    fill(path, 0, 10)
    settled_mark(path, server, 10)
    before = len(server.received)
    settled_mark(path, server, 10)
    assert len(server.received) > before
