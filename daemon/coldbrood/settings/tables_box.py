"""The tables of the config file that tell of place, keeper, chicks and hen boxes.

Marks as in the reference sheets: V read in a source, C computed, M from memory.
"""

from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct

from coldbrood.brooder.specs import ChickKind
from coldbrood.settings.setting import AwayTime, Name, TimeOfDay, Zone, about
from coldbrood.watch.site import TemperatureUnit

JugPlastic = Literal["unknown", "PET", "LDPE", "PVC", "HDPE", "PP"]


class SiteTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[site]."""

    name: Annotated[
        Name,
        about(
            "Name of the site. It is a part of every topic: coldbrood/<site>/<probe>/reading.",
            example="larch-lane",
        ),
    ]
    time_zone: Annotated[
        Zone,
        about("Time zone of the keeper's clock, by its name in the IANA data base.", example="Etc/UTC"),
    ]
    latitude_deg: Annotated[
        float,
        about(
            "Latitude, north is plus. One decimal is enough: only sunset and sunrise come from it.",
            "degrees",
            ge=-90.0,
            le=90.0,
            example=50.0,
        ),
    ]
    longitude_deg: Annotated[
        float,
        about("Longitude, east is plus. One decimal is enough.", "degrees", ge=-180.0, le=180.0, example=0.0),
    ]


class KeeperTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[keeper]."""

    bedtime: Annotated[
        TimeOfDay,
        about(
            "When the keeper goes to bed. Tonight's plan is sent then; after it only what needs an act now "
            "makes a sound. The default is a guess: set your own.",
        ),
    ] = "22:00"
    rising: Annotated[
        TimeOfDay,
        about(
            "When the keeper rises. The morning digest is sent then. The default is a guess: set your own.",
        ),
    ] = "06:30"
    away: Annotated[
        Annotated[list[AwayTime], Meta(min_length=1, max_length=30)] | None,
        about(
            "When nobody is at hand to refill, on which weekdays. The plan then asks for a refill before you "
            "go. A time to before its time from is over midnight.",
            words='a list of up to 30 texts such as "mon-fri 07:30-16:30" or "sat 09:00-12:00"',
            example=["mon-fri 07:30-16:30", "sat 09:00-12:00"],
        ),
    ] = None
    lead_min: Annotated[
        float,
        about(
            "How long before the latest refill time the nudge comes. A 1.5 kW stove takes 12 min to heat "
            "3.8 L from 10 to 80 C (C: 1113 kJ by IAPWS-IF97); the rest is for waking up and walking.",
            "min",
            ge=5.0,
            le=180.0,
        ),
    ] = 30.0
    risk: Annotated[
        float,
        about(
            "How much is taken before a refill is asked for; lower wakes more often. By day it is the "
            "chance of the box going under the floor. Asleep you are woken where the cold still to come is "
            "more than 40 degree-hours times this, 4 at the default, or where the chance of the hard floor "
            "is more than this. One in ten is our own choice, no source; the hard floor itself always wakes "
            "you.",
            ge=0.001,
            le=0.5,
        ),
    ] = 0.1
    unit: Annotated[TemperatureUnit, about("Degrees on screens and in messages: Celsius or Fahrenheit.")] = (
        "C"
    )
    clock: Annotated[Literal["24h", "12h"], about("How screens and messages write a time of day.")] = "24h"


class BatchTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[batch]."""

    arrival: Annotated[
        date,
        about(
            "The day the chicks arrived. It is day 0 unless the hatch date is given.",
            words="a date without quotes, 2000-01-01 to 2099-12-31",
            example=date(2026, 4, 11),
        ),
    ]
    hatched: Annotated[
        date | None,
        about(
            "The day the chicks hatched, if known; age is then counted from it.",
            words="a date without quotes, not after the arrival and at most 60 days before it",
            example=date(2026, 4, 10),
        ),
    ] = None
    kind: Annotated[
        ChickKind,
        about(
            "Layer or meat chicks. Layer is the default since it gives less heat (CIGR 2002, M): a broiler "
            "box taken for a layer box is then warmer than thought, not colder.",
        ),
    ] = "layer"


class BoxTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[[box]]."""

    name: Annotated[Name, about("Name of the hen box, as messages show it.", example="a")]
    chicks: Annotated[
        int,
        about(
            "Chicks in this box at the start; later counts and losses are told by a note. 12 to 20 a box is "
            "common practice, no source.",
            ge=0,
            le=150,
            example=16,
        ),
    ]
    length_m: Annotated[float, about("Inside length.", "m", ge=0.2, le=3.0, example=0.75)]
    width_m: Annotated[float, about("Inside width.", "m", ge=0.2, le=3.0, example=0.55)]
    height_m: Annotated[float, about("Inside height.", "m", ge=0.1, le=2.0, example=0.4)]
    insulation_mm: Annotated[
        float,
        about(
            "Thickness of the insulation in walls and lid; 0 for a bare wooden box.",
            "mm",
            ge=0.0,
            le=300.0,
            example=30.0,
        ),
    ]
    insulation_w_per_mk: Annotated[
        float,
        about(
            "Conductivity of the insulation. The default is EPS board (V: 90/90 value of one grade). XPS and "
            "EPS 0.032 to 0.040, wood fibre 0.040 to 0.052, shavings loose 0.12, pressed 0.06 to 0.08, "
            "timber 0.13 (V).",
            "W/mK",
            ge=0.015,
            le=0.3,
        ),
    ] = 0.038
    air_changes_per_h: Annotated[
        float,
        about(
            "How often an hour the box air is replaced through pop hole and lid: tight 5, loose 15. The "
            "default is the middle, our own choice: it is the least known part, and the readings correct "
            "it. Twenty day-olds need about 5 in a box of 165 L to keep CO2 under 0.3 % (limit V; C from "
            "CIGR's heat and CO2, M): never seal the box.",
            "an hour",
            ge=0.5,
            le=60.0,
        ),
    ] = 10.0
    jugs: Annotated[int, about("Jugs of hot water in this box.", ge=1, le=10)] = 1
    jug_litres: Annotated[
        float,
        about(
            "Water in each jug as filled. The figure that counts most: measure it once.",
            "L",
            ge=0.5,
            le=40.0,
            example=3.8,
        ),
    ]
    jug_plastic: Annotated[
        JugPlastic,
        about("What the jug is made of, as stamped in its bottom. Used only to warn of too hot a fill."),
    ] = "unknown"
    fill_c: Annotated[
        float,
        about(
            "Usual temperature of the water at a refill. A guess does: the readings tell. The default stays "
            "under the hot-fill guidance for HDPE jugs, 63 C (V). It scalds all the same.",
            "C",
            ge=30.0,
            le=95.0,
        ),
    ] = 60.0
    jug_wrapped: Annotated[
        bool,
        about(
            "Whether the jug wears a towel or sacking as a rule: it then cools two to three times slower (C)."
        ),
    ] = False
