"""Every reading once more in forms that other programs read: SenML, InfluxDB line protocol, Parquet.

Calibrated values, written as they are read: a log of years needs no more memory than one of a day. What a
form cannot hold (no date, no number) is left out and counted; the CSV files and the copy hold it all.
"""

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

from coldbrood.journal.reader import JournalReader
from coldbrood.mirror.points import lines_of
from coldbrood.watch.events import Reading
from coldbrood.watch.site import Quantity, Site

Progress = Callable[[str, int, int], None]

CHUNK: Final = 5000
NAMES: Final = ("senml", "lines", "parquet")
# RFC 8428 s. 12.1; dBm is one of the secondary units of RFC 8798 (M).
SENML_UNITS: Final[Mapping[Quantity, str]] = {
    "temperature_c": "Cel",
    "humidity_pct": "%RH",
    "battery_v": "V",
    "battery_pct": "%EL",
    "signal_dbm": "dBm",
}
ABSOLUTE_FROM_S: Final = 2.0**28  # RFC 8428 s. 4.5.3: a time below this counts from now
FAR_S: Final = 32_503_680_000.0  # the year 3000: no clock that was set
_NOT_OF_A_NAME: Final = re.compile(r"[^A-Za-z0-9\-:./_]")  # RFC 8428 s. 4.5.1


class MissingLibrary(Exception):  # noqa: N818 - it says what is missing
    """A form needs a library that is not there: one plain line with what to do."""


@dataclass(frozen=True, slots=True)
class Form:
    """One more file of the export. `write` gives how many readings it had to leave out."""

    name: str
    file: str
    mediatype: str
    title: str
    write: Callable[[JournalReader, Path, Progress], int]


def forms_of(names: Sequence[str], site: Site) -> tuple[Form, ...]:
    """The forms of these names, each once. Raises MissingLibrary before anything is written."""
    made = {
        "senml": Form(
            "senml",
            "readings.senml.json",
            "application/senml+json",
            "Readings as SenML (RFC 8428)",
            partial(_write_senml, site),
        ),
        "lines": Form(
            "lines",
            "readings.lines.txt",
            "text/plain",
            "Readings in InfluxDB line protocol, times in milliseconds",
            partial(_write_lines, site),
        ),
        "parquet": Form(
            "parquet",
            "readings.parquet",
            "application/vnd.apache.parquet",
            "Readings as Parquet",
            _write_parquet,
        ),
    }
    chosen = [made[name] for name in NAMES if name in names]
    for form in chosen:
        _check_library(form.name)
    return tuple(chosen)


def _check_library(name: str) -> None:
    try:
        if name == "lines":
            import influxdb_client  # noqa: F401 - only to see that it is there
        elif name == "parquet":
            import pyarrow.parquet  # noqa: F401 - only to see that it is there
    except ImportError as error:
        extra = {"lines": "mirror", "parquet": "parquet"}[name]
        raise MissingLibrary(
            f"--also {name}: its library is not here: pip install 'coldbrood[{extra}]'"
        ) from error


def _chunks(journal: JournalReader, file: str, tell: Progress) -> Iterator[list[Reading]]:
    """All readings in their order, a chunk at a time; tells how far it is by the journal's own numbers."""
    last, at = journal.last_seq(), 0
    while at < last:
        at, readings = journal.chunk(at, last, CHUNK)
        yield readings
        tell(file, at, last)
    tell(file, last, last)


# ---- SenML


def _write_senml(site: Site, journal: JournalReader, path: Path, tell: Progress) -> int:
    left_out, between = 0, "[\n"
    base = json.dumps({"bn": f"coldbrood:{site.name}:"})
    with path.open("w", encoding="utf-8", newline="\n") as file:
        for readings in _chunks(journal, path.name, tell):
            for reading in readings:
                record = senml_record(reading)
                if record is None:
                    left_out += 1
                    continue
                # the base name stands in the first record and holds for all (s. 4.1)
                text = json.dumps(record) if between == ",\n" else f"{base[:-1]}, {json.dumps(record)[1:]}"
                file.write(between + text)
                between = ",\n"
        file.write("\n]\n" if between == ",\n" else "[]\n")
    return left_out


def senml_record(reading: Reading) -> dict[str, object] | None:
    """One record without its base name; None for what SenML cannot say."""
    if not (ABSOLUTE_FROM_S <= reading.wall_s < FAR_S and math.isfinite(reading.value)):
        return None
    name = f"{_NOT_OF_A_NAME.sub('_', reading.probe)}:{reading.quantity.rpartition('_')[0]}"
    return {
        "n": name,
        "u": SENML_UNITS[reading.quantity],
        "t": round(reading.wall_s, 3),
        "v": reading.value,
    }


# ---- line protocol


def _write_lines(site: Site, journal: JournalReader, path: Path, tell: Progress) -> int:
    """The same lines that the mirror sends."""
    written = seen = 0
    with path.open("w", encoding="utf-8", newline="\n") as file:
        for readings in _chunks(journal, path.name, tell):
            lines = lines_of(site, readings, FAR_S).lines
            file.writelines(f"{line}\n" for line in lines)
            written, seen = written + len(lines), seen + len(readings)
    return seen - written


# ---- Parquet


def _write_parquet(journal: JournalReader, path: Path, tell: Progress) -> int:
    import pyarrow as pa
    from pyarrow.parquet import ParquetWriter

    word = pa.dictionary(pa.int32(), pa.string())
    schema = pa.schema(
        [
            ("time", pa.timestamp("ms", tz="UTC")),
            ("watch_s", pa.float64()),
            ("clock_synced", pa.bool_()),
            ("late", pa.bool_()),
            ("probe", word),
            ("quantity", word),
            ("value", pa.float64()),
            ("raw", pa.float64()),
        ]
    )
    with ParquetWriter(path, schema, compression="zstd") as writer:
        for readings in _chunks(journal, path.name, tell):
            columns = [
                pa.array(column, kind.type) for column, kind in zip(_columns(readings), schema, strict=True)
            ]
            writer.write_batch(pa.record_batch(columns, schema=schema))
    return 0


def _columns(readings: Sequence[Reading]) -> tuple[list[Any], ...]:
    return (
        [_milliseconds(one.wall_s) for one in readings],
        [one.t_s for one in readings],
        [one.synced for one in readings],
        [one.late for one in readings],
        [one.probe for one in readings],
        [one.quantity for one in readings],
        [one.value for one in readings],
        [one.raw for one in readings],
    )


def _milliseconds(wall_s: float) -> int | None:
    """Milliseconds since 1970; None where the clock gave no date at all."""
    return round(wall_s * 1000.0) if abs(wall_s) < FAR_S else None
