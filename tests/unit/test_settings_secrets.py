"""Promise: a secret is found in the file or variable named, told if others can read it, and never shown."""

import copy
import os
import pickle
from dataclasses import asdict
from pathlib import Path

import msgspec
import pytest

from coldbrood.settings.explain import describe
from coldbrood.settings.load import ConfigProblems, load
from coldbrood.settings.secrets import SECRET_BYTES_MAX, Secret, SecretFault, place, resolve

TEXT = "hunter-of-eggs"
LEAST = Path(__file__).parents[2] / "fixtures" / "configs" / "good" / "least.toml"


def file(folder: Path, name: str = "secret", text: bytes = TEXT.encode(), mode: int = 0o600) -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_bytes(text)
    path.chmod(mode)
    return path


def revealed(file: str, environ: dict[str, str], base: Path) -> str:
    found = resolve(None, file, environ, base)
    assert found is not None
    return found.secret.reveal()


def test_a_secret_prints_as_stars_however_it_is_printed() -> None:
    secret = Secret(TEXT)
    assert {str(secret), repr(secret), f"{secret}", f"{secret!r}", "%s" % secret} == {"***"}  # noqa: UP031 - the old form is one of the ways out that are tested
    assert secret.reveal() == TEXT
    assert (secret == Secret(TEXT), secret == Secret("other"), secret == TEXT) == (True, False, False)
    assert hash(secret) == hash(Secret(TEXT))


def test_a_secret_is_not_written_by_the_encoders() -> None:
    for write in (pickle.dumps, msgspec.json.encode, copy.copy):
        with pytest.raises(TypeError):
            write(Secret(TEXT))


def test_the_variable_named_is_used() -> None:
    found = resolve("A", None, {"A": TEXT}, Path("/"))
    assert found is not None
    assert (found.secret.reveal(), found.open_to_others) == (TEXT, False)


def test_nothing_named_is_no_secret() -> None:
    assert resolve(None, None, {"A": TEXT}, Path("/")) is None


@pytest.mark.parametrize("environ", [{}, {"A": ""}, {"A": "  \n"}, {"A": "two\nlines"}, {"A": "\x1b[2J"}])
def test_a_variable_that_holds_no_secret_is_a_fault(environ: dict[str, str]) -> None:
    with pytest.raises(SecretFault, match="an environment variable that is set and holds one line"):
        resolve("A", None, environ, Path("/"))


def test_a_file_is_looked_up_in_the_credentials_first_then_beside_the_config(tmp_path: Path) -> None:
    handed, beside = tmp_path / "handed", tmp_path / "beside"
    environ = {"CREDENTIALS_DIRECTORY": str(handed)}
    file(beside, text=b"beside\n")
    handed.mkdir()
    assert revealed("secret", environ, beside) == "beside"
    file(handed, text=b"handed\r\n")
    assert revealed("secret", environ, beside) == "handed"
    assert revealed("secret", {}, beside) == "beside"
    assert revealed(str(beside / "secret"), environ, tmp_path) == "beside"


def test_a_name_too_long_for_a_file_is_a_fault_not_a_crash(tmp_path: Path) -> None:
    environ = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert place("x" * 900, environ, tmp_path) == tmp_path / ("x" * 900)
    with pytest.raises(SecretFault, match="a file this user may read"):
        resolve(None, "x" * 900, environ, tmp_path)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (b"", "a file that holds one line"),
        (b" \n", "a file that holds one line"),
        (b"one\ntwo\n", "a file that holds one line"),
        (b"a\x00b", "a file that holds one line"),
        (b"\xff\xfe", "a file of UTF-8 text"),
        (b"x" * (SECRET_BYTES_MAX + 1), f"a file of {SECRET_BYTES_MAX} bytes at most"),
    ],
)
def test_a_file_that_holds_no_secret_is_a_fault_that_quotes_nothing(
    tmp_path: Path, text: bytes, wanted: str
) -> None:
    with pytest.raises(SecretFault) as caught:
        resolve(None, str(file(tmp_path, text=text)), {}, tmp_path)
    assert str(caught.value) == wanted


def test_the_longest_secret_is_taken_whole(tmp_path: Path) -> None:
    text = b"x" * SECRET_BYTES_MAX
    assert revealed(str(file(tmp_path, text=text)), {}, tmp_path) == text.decode()


@pytest.mark.parametrize("kind", ["missing", "folder", "pipe"])
def test_what_is_no_file_is_a_fault_and_never_waited_for(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "secret"
    if kind == "folder":
        path.mkdir()
    if kind == "pipe":
        os.mkfifo(path)
    with pytest.raises(SecretFault, match="a file that exists" if kind == "missing" else "may read"):
        resolve(None, "secret", {}, tmp_path)


@pytest.mark.parametrize(("mode", "told"), [(0o600, False), (0o640, False), (0o644, True), (0o604, True)])
def test_a_file_that_others_may_read_is_told(tmp_path: Path, mode: int, told: bool) -> None:
    found = resolve(None, str(file(tmp_path, mode=mode)), {}, tmp_path)
    assert found is not None
    assert found.open_to_others is told


def config_with_files(folder: Path, mode: int) -> Path:
    text = LEAST.read_text(encoding="utf-8")
    text = text.replace('url_env = "PHONE_URL"', 'url_file = "phone-url"')
    text = text.replace("[broker]", '[broker]\nusername = "u"\npassword_file = "broker-password"')
    file(folder, "phone-url", f"json://{TEXT}@127.0.0.1/".encode(), mode)
    file(folder, "broker-password", TEXT.encode(), mode)
    return file(folder, "coldbrood.toml", text.encode())


def test_the_whole_config_shows_no_secret(tmp_path: Path) -> None:
    config = load(config_with_files(tmp_path, 0o600), {})
    assert config.broker is not None
    assert config.broker.password == Secret(TEXT)
    assert config.channels[0].url.reveal() == f"json://{TEXT}@127.0.0.1/"
    for shown in (repr(config), str(config), describe(config)):
        assert TEXT not in shown
        assert "***" in shown
    with pytest.raises(TypeError):
        msgspec.json.encode(config.channels)
    with pytest.raises(TypeError):
        asdict(config.broker)


def test_the_config_says_which_secret_others_may_read(tmp_path: Path) -> None:
    told = [str(caution) for caution in load(config_with_files(tmp_path, 0o644), {}).cautions]
    text = "others on this machine may read the secret: chmod 600 is the cure"
    assert [line for line in told if "secret" in line] == [
        f"broker.password_file: {text}",
        f"channel[0].url_file: {text}",
    ]
    assert not any(
        "secret" in str(caution) for caution in load(config_with_files(tmp_path, 0o600), {}).cautions
    )


@pytest.mark.parametrize("key", ["url", "token", "url_evn", "title_max", "name", "url_file", "url_env"])
def test_a_secret_in_the_wrong_place_is_refused_without_a_quote(tmp_path: Path, key: str) -> None:
    text = LEAST.read_text(encoding="utf-8").replace("url_env", "url_env" if key != "url_env" else "url_fyle")
    line = f'{key} = "json://{TEXT}@127.0.0.1/"\n'
    if key == "name":
        text = text.replace('name = "phone"\n', "")
    path = file(tmp_path, "coldbrood.toml", (text + line).encode())
    with pytest.raises(ConfigProblems) as caught:
        load(path, {"PHONE_URL": "json://127.0.0.1/"})
    assert TEXT not in str(caught.value)


def test_a_channel_is_asked_of_whoever_delivers(tmp_path: Path) -> None:
    asked: list[str] = []

    def fault(url: str) -> str | None:
        asked.append(url)
        return "a service that exists"

    with pytest.raises(ConfigProblems) as caught:
        load(config_with_files(tmp_path, 0o600), {}, fault)
    assert asked == [f"json://{TEXT}@127.0.0.1/"]
    assert str(caught.value) == "channel[0].url_file: ***: a service that exists"
