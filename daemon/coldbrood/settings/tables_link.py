"""The tables of the config file that tell of probes, broker, channels and journal.

Marks as in the reference sheets: V read in a source, C computed, M from memory.
"""

from typing import Annotated

from msgspec import Meta, Struct

from coldbrood.settings.setting import (
    EnvName,
    FilePath,
    Host,
    Login,
    Name,
    Pointer,
    SensorId,
    Topic,
    about,
)
from coldbrood.watch.site import PayloadFormat, Role, Source, TemperatureUnit

Volts = Annotated[float, Meta(ge=0.5, le=30.0)]


class PointersTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[probe.pointers]."""

    temperature_c: Annotated[
        Pointer, about("Where the temperature is, in the degrees that `unit` says.", example="/temp")
    ]
    humidity_pct: Annotated[
        Pointer | None, about("Where the relative humidity is, in %.", example="/hum")
    ] = None
    battery_v: Annotated[Pointer | None, about("Where the battery's volts are.", example="/volt")] = None
    battery_pct: Annotated[Pointer | None, about("Where the battery's charge is, in %.", example="/batt")] = (
        None
    )
    signal_dbm: Annotated[
        Pointer | None, about("Where the strength of its Wi-Fi is, in dBm.", example="/rssi")
    ] = None


class ProbeTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[[probe]]."""

    name: Annotated[Name, about("Name of the probe; a part of its topic.", example="box-a")]
    role: Annotated[Role, about("In a hen box, or in the shade outside.", example="box")]
    box: Annotated[
        Name | None,
        about("The hen box it hangs in, for a box probe.", words="the name of a [[box]]", example="a"),
    ] = None
    source: Annotated[
        Source, about("How its readings come in: over MQTT, or on this board's 1-Wire bus.")
    ] = "mqtt"
    interval_min: Annotated[
        float,
        about(
            "The longest usual time between its messages; after a few of them unheard it counts as silent. "
            "Every 5 minutes a battery probe lasts some months (C: standards.md section 7).",
            "min",
            ge=0.1,
            le=120.0,
        ),
    ] = 5.0
    topic: Annotated[
        Topic | None,
        about(
            "Topic of its messages. Without it: coldbrood/<site>/<probe>/reading.", example="shed/sensor-1"
        ),
    ] = None
    format: Annotated[
        PayloadFormat,
        about(
            "Form of its messages: SenML JSON (RFC 8428), JSON with pointers to the values, a bare number."
        ),
    ] = "senml"
    pointers: Annotated[
        PointersTable | None, about('Where the values are in its JSON, for format = "pointers".')
    ] = None
    unit: Annotated[
        TemperatureUnit,
        about('Degrees it sends, for format = "pointers" or "plain"; SenML carries its own unit.'),
    ] = "C"
    sensor_id: Annotated[
        SensorId | None,
        about(
            'Number of a wired DS18B20 as in /sys/bus/w1/devices, for source = "onewire".',
            example="28-0316a2795cff",
        ),
    ] = None
    offset_c: Annotated[
        float,
        about(
            "Added to every temperature, from the next start on: what was kept before stays. Found by "
            "coldbrood calibrate, or by probes kept side by side for an hour. The range is more than a "
            "DS18B20 may be off (M: 2 C).",
            "C",
            ge=-5.0,
            le=5.0,
        ),
    ] = 0.0
    gain: Annotated[
        float,
        about(
            "Factor on every temperature, before offset_c is added. Only where a sensor was compared at two "
            "temperatures, as by coldbrood calibrate: a DS18B20 is hardly ever off by its slope.",
            ge=0.95,
            le=1.05,
        ),
    ] = 1.0
    min_c: Annotated[
        float,
        about("Lowest temperature the sensor can tell: -55 for a DS18B20 (V).", "C", ge=-100.0, le=0.0),
    ] = -55.0
    max_c: Annotated[
        float,
        about("Highest temperature the sensor can tell: 125 for a DS18B20 (V).", "C", ge=40.0, le=200.0),
    ] = 125.0
    battery_low_v: Annotated[
        Volts | None,
        about(
            "Under this voltage the battery counts as low. No default: it depends on the cells, and with "
            "lithium AA cells it tells nothing of the charge left (V).",
            "V",
            example=3.3,
        ),
    ] = None
    battery_low_pct: Annotated[
        float,
        about(
            "Under this charge the battery counts as low. Our own choice: it leaves days, not hours.",
            "%",
            ge=0.0,
            le=90.0,
        ),
    ] = 15.0


class BrokerTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[broker]."""

    host: Annotated[
        Host,
        about(
            "Name or address of the MQTT broker. The default is this board, which needs no other machine at "
            "night.",
        ),
    ] = "127.0.0.1"
    port: Annotated[
        int,
        about("Its port: 1883 is the registered one, 8883 the one with TLS (M: IANA).", ge=1, le=65535),
    ] = 1883
    username: Annotated[Login | None, about("Name to log in with.", example="coldbrood")] = None
    password_env: Annotated[
        EnvName | None,
        about(
            "Environment variable that holds the password.", secret=True, example="COLDBROOD_BROKER_PASSWORD"
        ),
    ] = None
    password_file: Annotated[
        FilePath | None,
        about(
            "File that holds the password: in $CREDENTIALS_DIRECTORY, or beside the config file.",
            secret=True,
            example="broker-password",
        ),
    ] = None
    tls_ca: Annotated[
        FilePath | None,
        about(
            "File of the authority that signed the broker's certificate; with it the link is TLS.",
            example="broker-ca.pem",
        ),
    ] = None


class ChannelTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[[channel]]."""

    name: Annotated[Name, about("Name of the channel, as the log shows it.", example="phone")]
    url_env: Annotated[
        EnvName | None,
        about(
            "Environment variable that holds the channel's URL, in apprise's form. The URL is a secret: it "
            "holds the right to send.",
            secret=True,
            example="COLDBROOD_PHONE_URL",
        ),
    ] = None
    url_file: Annotated[
        FilePath | None,
        about(
            "File that holds the URL: in $CREDENTIALS_DIRECTORY, or beside the config file. Each channel "
            "needs url_file or url_env.",
            secret=True,
            example="phone-url",
        ),
    ] = None
    person: Annotated[
        Name | None,
        about(
            "Whom it reaches. Channels of one person are told together; the next person's join when no one "
            "answers. A channel without it is a step of its own.",
            example="second",
        ),
    ] = None
    title_max: Annotated[
        int,
        about("Longest title. 60 fits a lock screen (own choice).", "characters", ge=30, le=250),
    ] = 60
    body_max: Annotated[
        int,
        about(
            "Longest text. 500 is safe for the services looked at (own choice).",
            "characters",
            ge=100,
            le=4000,
        ),
    ] = 500


class JournalTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[journal]."""

    path: Annotated[
        FilePath,
        about(
            "The file that keeps every reading. A relative path is in $STATE_DIRECTORY; without it in "
            "/var/lib/NAME for a config in /etc/NAME, else beside the config file. Not on a network drive: "
            "SQLite's log needs one host (V).",
        ),
    ] = "journal.db"
