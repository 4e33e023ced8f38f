"""The tables of the config file that tell of what helps the watch: sounder, heartbeat and mirror.

Marks as in the reference sheets: V read in a source, C computed, M from memory.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from coldbrood.settings.setting import EnvName, FilePath, Label, WebAddress, Word, about

HeartbeatMethod = Literal["GET", "POST"]
Command = Annotated[list[Word], Meta(min_length=1, max_length=20)]


class SounderTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[sounder]."""

    command: Annotated[
        Command,
        about(
            "Program that makes the noise, and its arguments, one text each; no shell reads it. It is "
            "started again while the noise is due, and ended when someone answers.",
            words="a list of 1 to 20 texts, the first the full path of a program",
            example=["/usr/bin/gpioset", "--mode=signal", "gpiochip0", "17=1"],
        ),
    ]
    after_min: Annotated[
        float,
        about(
            "How long a nudge that may wake goes unanswered before it sounds; what is critical sounds at "
            "once. Own choice: the first message has had its chance, and the lead is not used up.",
            "min",
            ge=0.0,
            le=120.0,
        ),
    ] = 10.0


class HeartbeatTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[heartbeat]."""

    url_env: Annotated[
        EnvName | None,
        about(
            "Environment variable that holds the http or https URL that is told that all is well.",
            secret=True,
            example="COLDBROOD_HEARTBEAT_URL",
        ),
    ] = None
    url_file: Annotated[
        FilePath | None,
        about(
            "File that holds that URL: in $CREDENTIALS_DIRECTORY, or beside the config file. Needs url_file "
            "or url_env.",
            secret=True,
            example="heartbeat-url",
        ),
    ] = None
    method: Annotated[HeartbeatMethod, about("How it is asked.")] = "GET"
    every_min: Annotated[
        float,
        about(
            "How often it is told. Let the far side raise its alarm after three of these without a word.",
            "min",
            ge=1.0,
            le=1440.0,
        ),
    ] = 5.0


class SleepTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[sleep]."""

    file: Annotated[
        FilePath | None,
        about(
            "File that says until when the board may sleep: first line a time (RFC 3339, UTC) or awake, "
            "second the reason. Best in memory, such as under /run.",
            example="/run/coldbrood/sleep",
        ),
    ] = None
    command: Annotated[
        Command | None,
        about(
            "Program that puts the board to sleep, and its arguments; the time is added as the last. "
            "No shell reads it. It must wake the board by then, whatever happens.",
            words="a list of 1 to 20 texts, the first the full path of a program",
            example=["/usr/local/bin/board-sleep"],
        ),
    ] = None
    least_min: Annotated[
        float, about("Shortest sleep that is worth it. Own choice.", "min", ge=15.0, le=240.0)
    ] = 20.0
    most_min: Annotated[
        float,
        about(
            "Longest sleep at a time: for so long nobody sees a lid that fell open. Own choice.",
            "min",
            ge=15.0,
            le=240.0,
        ),
    ] = 60.0
    margin_min: Annotated[
        float,
        about(
            "How long before the nudge for the earliest refill it must be awake: to start, to hear each "
            "probe and to reckon anew. Own choice.",
            "min",
            ge=10.0,
            le=120.0,
        ),
    ] = 20.0


class MirrorTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[mirror]."""

    url: Annotated[
        WebAddress,
        about(
            "Address of a server that takes the InfluxDB v2 write protocol. Use https if it is not on "
            "this board.",
            example="http://127.0.0.1:8086",
        ),
    ]
    org: Annotated[Label, about("The organisation it asks for; any text if it has none.", example="home")]
    bucket: Annotated[Label, about("The bucket that takes the readings.", example="coldbrood")]
    token_env: Annotated[
        EnvName | None,
        about("Environment variable that holds the token.", secret=True, example="COLDBROOD_MIRROR_TOKEN"),
    ] = None
    token_file: Annotated[
        FilePath | None,
        about(
            "File that holds the token: in $CREDENTIALS_DIRECTORY, or beside the config file. Without either "
            "no token is sent.",
            secret=True,
            example="mirror-token",
        ),
    ] = None
