"""Fetch what the file only points to: secrets, certificates, places on the disk."""

import re
from collections.abc import Callable, Mapping
from pathlib import Path

from coldbrood.settings.records import (
    Broker,
    Caution,
    Channel,
    Heartbeat,
    Mirror,
    Page,
    Problem,
    Sleep,
    Sounder,
)
from coldbrood.settings.secrets import MASK, Secret, SecretFault, place, resolve
from coldbrood.settings.tables_aides import HeartbeatTable, MirrorTable, SleepTable, SounderTable
from coldbrood.settings.tables_link import BrokerTable, ChannelTable
from coldbrood.settings.tables_page import PageTable
from coldbrood.settings.walk import Walk, show
from coldbrood.watch.rest import RestLimits

CATALOGUES = Path(__file__).parents[1] / "page" / "locale"

UrlFault = Callable[[str], str | None]
"""What is wanted of a channel's URL that does not have it; None if all is well. It may quote nothing."""


def no_scheme(url: str) -> str | None:
    """The least that can be asked of a channel's URL without its delivery library."""
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*://\S+\Z", url):
        return None
    return "a URL in apprise's form: a service's short name, :// and what it asks for"


class Fetch:
    """One pass over what a walked file points to. Problems and cautions gather on it."""

    def __init__(self, walk: Walk, environ: Mapping[str, str], base: Path, url_fault: UrlFault) -> None:
        self.problems: list[Problem] = []
        self.cautions: list[Caution] = []
        self._walk, self._environ, self._base, self._url_fault = walk, environ, base, url_fault
        self.broker = self._broker(walk.file.broker)
        found = [self._channel(i, table) for i, table in enumerate(walk.file.channel)]
        self.channels = tuple(channel for channel in found if channel is not None)
        self.sounder = self._sounder(walk.file.sounder)
        self.heartbeat = self._heartbeat(walk.file.heartbeat)
        self.mirror = self._mirror(walk.file.mirror)
        self.sleep = self._sleep(walk.file.sleep)
        self.page = self._page(walk.file.page)

    def journal_path(self) -> Path:
        """Where the journal is; a relative path is in the folder of `state_folder`."""
        return state_folder(self._base, self._environ) / self._walk.file.journal.path

    def _broker(self, table: BrokerTable | None) -> Broker | None:
        if table is None:
            return None
        password = self._secret("broker.password", table.password_env, table.password_file)
        ca = None if table.tls_ca is None else place(table.tls_ca, self._environ, self._base)
        if ca is not None and not _is_authority(ca):
            wanted = "a readable file of PEM certificates"
            self.problems.append(Problem("broker.tls_ca", show(table.tls_ca), wanted))
        return Broker(table.host, table.port, table.username, password, ca)

    def _channel(self, index: int, table: ChannelTable) -> Channel | None:
        field = f"channel[{index}].url"
        url = self._secret(field, table.url_env, table.url_file)
        if url is None:
            if (table.url_env, table.url_file) == (None, None) and self._is_sound(field):
                self.problems.append(Problem(f"{field}_file", "missing", "url_file or url_env"))
            return None
        wanted = self._url_fault(url.reveal())
        if wanted is not None:
            self.problems.append(Problem(_pointing(field, table.url_env), MASK, wanted))
        return Channel(table.name, url, table.title_max, table.body_max)

    def _sounder(self, table: SounderTable | None) -> Sounder | None:
        if table is None:
            return None
        program = Path(table.command[0])
        if not program.is_absolute() and self._walk.sound("sounder.command"):
            wanted = "the full path of a program first"
            self.problems.append(Problem("sounder.command", show(table.command[0]), wanted))
        return Sounder(tuple(table.command))

    def _heartbeat(self, table: HeartbeatTable | None) -> Heartbeat | None:
        if table is None:
            return None
        field = "heartbeat.url"
        url = self._secret(field, table.url_env, table.url_file)
        if url is None:
            if (table.url_env, table.url_file) == (None, None) and self._is_sound(field):
                self.problems.append(Problem(f"{field}_file", "missing", "url_file or url_env"))
            return None
        if not re.match(r"https?://[^\s/]+\S*\Z", url.reveal(), re.IGNORECASE):
            self.problems.append(Problem(_pointing(field, table.url_env), MASK, "an http or https URL"))
        return Heartbeat(url, table.method, table.every_min * 60.0)

    def _sleep(self, table: SleepTable | None) -> Sleep | None:
        if table is None:
            return None
        if table.file is None and table.command is None and self._walk.sound("sleep.file", "sleep.command"):
            self.problems.append(Problem("sleep.file", "missing", "a file or a command, or both"))
        if table.command is not None and not Path(table.command[0]).is_absolute():
            wanted = "the full path of a program first"
            self.problems.append(Problem("sleep.command", show(table.command[0]), wanted))
        if table.most_min < table.least_min and self._walk.sound("sleep.most_min", "sleep.least_min"):
            self.problems.append(Problem("sleep.most_min", show(table.most_min), "no less than least_min"))
        limits = RestLimits(table.least_min * 60.0, table.most_min * 60.0, table.margin_min * 60.0)
        file = None if table.file is None else self._base / table.file
        return Sleep(file, tuple(table.command or ()), limits)

    def _mirror(self, table: MirrorTable | None) -> Mirror | None:
        if table is None:
            return None
        token = self._secret("mirror.token", table.token_env, table.token_file)
        return Mirror(table.url, table.org, table.bucket, token)

    def _page(self, table: PageTable) -> Page | None:
        known = languages()
        if table.language not in known and self._walk.sound("page.language"):
            self.problems.append(Problem("page.language", show(table.language), f"one of {', '.join(known)}"))
        local_only = table.peers == "local"
        page = Page(table.address, table.port, local_only, table.host, table.language, table.week_starts)
        return page if table.enabled else None

    def _secret(self, field: str, env: str | None, file: str | None) -> Secret | None:
        try:
            found = resolve(env, file, self._environ, self._base)
        except SecretFault as fault:
            self.problems.append(Problem(_pointing(field, env), MASK, str(fault)))
            return None
        if found is not None and found.open_to_others:
            text = "others on this machine may read the secret: chmod 600 is the cure"
            self.cautions.append(Caution(f"{field}_file", text))
        return None if found is None else found.secret

    def _is_sound(self, field: str) -> bool:
        return self._walk.sound(f"{field}_env", f"{field}_file")


def languages() -> list[str]:
    """English, and every language that the page has a catalogue of."""
    return sorted({"en", *(path.parents[1].name for path in CATALOGUES.glob("*/LC_MESSAGES/coldbrood.mo"))})


def state_folder(base: Path, environ: Mapping[str, str]) -> Path:
    """$STATE_DIRECTORY; without it /var/lib/NAME for a config in /etc/NAME, else the config's own folder.

    So a command of the keeper's finds the journal of the daemon that systemd runs, and may not begin another.
    """
    state = environ.get("STATE_DIRECTORY", "").split(":")[0]
    if state:
        return Path(state)
    return Path("/var/lib") / base.name if base.parent == Path("/etc") else base


def _pointing(field: str, env: str | None) -> str:
    return f"{field}_file" if env is None else f"{field}_env"


def _is_authority(path: Path) -> bool:
    import ssl  # only where TLS is asked for: it is not small

    try:
        ssl.create_default_context(cafile=str(path))
    except (OSError, ValueError):  # ssl.SSLError is an OSError
        return False
    return True
