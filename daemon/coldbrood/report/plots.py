"""The plots of the report, as SVG to stand inside the page. matplotlib is imported here and nowhere else.

What is drawn is told apart by form as well as by colour; the colours are those of Okabe and Ito's set, made
for eyes that see fewer (2008, M).
"""

import io
import re
from collections.abc import Callable, Sequence
from datetime import datetime, time
from html import escape
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from coldbrood.report.chicks import FIRST_DAYS, Flocked
from coldbrood.report.gather import Facts
from coldbrood.report.nights import DAY_S, Night
from coldbrood.report.series import Array, Series
from coldbrood.report.span import ReportError
from coldbrood.report.taught import OUTDOOR_C, Taught
from coldbrood.report.words import Words
from coldbrood.watch.site import TemperatureUnit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BLUE, ORANGE, GREEN, RED, GREY = "#0072b2", "#e69f00", "#009e73", "#d55e00", "#595959"
GAP_S: Final = 1800.0  # a line is not drawn over a longer silence
STYLE: Final[Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "coldbrood",
    "font.family": "sans-serif",
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#767676",
    "axes.grid": True,
    "grid.color": "#e3e3e3",
    "path.simplify_threshold": 0.5,
}
MISSING: Final = "the report's plots need matplotlib: pip install 'coldbrood[report]'"


def require_plots() -> None:
    """Raise ReportError with what to do unless matplotlib is there."""
    try:
        import matplotlib.figure  # noqa: F401 - only to see that it is there
    except ImportError as error:
        raise ReportError(MISSING) from error


def _drawn(name: str, title: str, size_in: tuple[float, float], draw: "Callable[[Figure], None]") -> str:
    """One SVG element with a title for a screen reader and names that no other plot of the page has."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(STYLE):
        figure = Figure(figsize=size_in, layout="constrained")
        draw(figure)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    svg = text[text.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", svg)
    svg = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{name}-\1"', svg)
    return svg.replace("<svg", f'<svg role="img" aria-label="{escape(title)}"', 1).strip()


def shown_in(celsius: Array, unit: TemperatureUnit) -> Array:
    """Temperatures in the keeper's unit."""
    return celsius * 1.8 + 32.0 if unit == "F" else celsius


def _with_gaps(series: Series) -> tuple[Array, Array]:
    """Times and values with a NaN where nothing was heard for long."""
    gaps = np.flatnonzero(np.diff(series.wall_s) > GAP_S) + 1
    return np.insert(series.wall_s, gaps, np.nan), np.insert(series.celsius, gaps, np.nan)


def _hourly(series: Series) -> tuple[Array, Array, Array, Array]:
    """Hour, lowest, mean, highest of each hour with a reading."""
    if not len(series.wall_s):
        empty = np.zeros(0)
        return empty, empty, empty, empty
    hour = np.floor(series.wall_s / 3600.0)
    starts = np.flatnonzero(np.diff(hour, prepend=hour[0] - 1.0))
    counts = np.diff(np.append(starts, len(hour)))
    return (
        (hour[starts] + 0.5) * 3600.0,
        np.minimum.reduceat(series.celsius, starts),
        np.add.reduceat(series.celsius, starts) / counts,
        np.maximum.reduceat(series.celsius, starts),
    )


def batch_plot(words: Words, facts: Facts, box: str) -> str:
    """The whole batch of one box by the day of age: band, box by the hour, outdoors, refills."""
    unit = facts.site.keeper.unit
    day0_s = _day0_s(facts)

    def day(wall_s: Any) -> Any:
        return (np.asarray(wall_s) - day0_s) / DAY_S

    def draw(figure: "Figure") -> None:
        axes = figure.subplots()
        series = facts.boxes[box]
        step = series.wall_s[:: max(1, len(series.wall_s) // 600)]
        watch = series.t_s[:: max(1, len(series.t_s) // 600)]
        bands = [facts.band_at(box, float(w), float(t)) for w, t in zip(step, watch, strict=True)]
        floor, ceiling = np.array([b.floor_c for b in bands]), np.array([b.ceiling_c for b in bands])
        axes.fill_between(
            day(step),
            shown_in(floor, unit),
            shown_in(ceiling, unit),
            color="#e8f3ee",
            label=words.say("comfort band"),
        )
        axes.plot(day(step), shown_in(floor, unit), color=GREEN, lw=1.2, ls="--", label=words.say("floor"))
        hour, low, mean, high = _hourly(series)
        axes.fill_between(
            day(hour), shown_in(low, unit), shown_in(high, unit), color=BLUE, alpha=0.25, lw=0, step="mid"
        )
        axes.plot(day(hour), shown_in(mean, unit), color=BLUE, lw=1.3, label=words.say("box"))
        at, outdoor = _with_gaps(facts.outdoor)
        axes.plot(day(at), shown_in(outdoor, unit), color=GREY, lw=0.8, label=words.say("outside"))
        refills = [float(day(r.wall_s)) for r in facts.refills if r.box == box]
        _refill_marks(axes, refills, words.say("refill"))
        axes.set_xlabel(words.say("days of age"))
        axes.locator_params(axis="x", integer=True)
        axes.set_ylabel(words.say("temperature, {unit}", unit=words.unit))
        axes.margins(x=0.01)
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, 1.16), ncols=5, frameon=False, fontsize=8)

    title = words.say(
        "{box} over the batch: comfort band, box temperature by the hour, outdoor air, refills",
        box=words.box_first(box),
    )
    return _drawn(f"batch-{box}", title, (7.6, 3.1), draw)


def _refill_marks(axes: "Axes", days: Sequence[float], label: str = "") -> None:
    if days:
        axes.plot(
            days,
            [0.015] * len(days),
            ls="",
            marker="^",
            ms=5,
            color=RED,
            transform=axes.get_xaxis_transform(),
            label=label or None,
            clip_on=False,
        )


def _day0_s(facts: Facts) -> float:
    return datetime.combine(facts.site.batch.day0, time(), facts.site.zone).timestamp()


def lows_plot(words: Words, box: str, nights: Sequence[Night]) -> str:
    """For each night the range foreseen at bedtime, and the lowest that came."""
    unit = words.site.keeper.unit

    def value(celsius: float) -> float:
        return float(shown_in(np.array([celsius]), unit)[0])

    def draw(figure: "Figure") -> None:
        axes = figure.subplots()
        for x, night in enumerate(nights):
            if night.forecast is not None and night.forecast.known:
                low, middle, high = map(value, night.forecast.low_c)
                axes.plot([x, x], [low, high], color=BLUE, lw=7, alpha=0.35, solid_capstyle="butt")
                axes.plot([x - 0.22, x + 0.22], [middle, middle], color=BLUE, lw=2)
                floor = value(night.forecast.floor_c)
                axes.plot([x - 0.4, x + 0.4], [floor, floor], color=GREEN, lw=1.2, ls="--")
            if night.low_c is not None:
                mark = "X" if night.inside is False else "o" if night.inside else "."
                axes.plot(
                    [x], [value(night.low_c)], marker=mark, ms=7, color=RED if mark == "X" else "#000000"
                )
        axes.set_xticks(range(len(nights)), [words.day_month(n.evening) for n in nights], fontsize=8)
        axes.set_ylabel(words.say("lowest of the night, {unit}", unit=words.unit))
        axes.set_xlabel(words.say("evening"))
        axes.margins(x=0.03)

    title = words.say(
        "{box}: each night's lowest as foreseen at bedtime, and as it came", box=words.box_first(box)
    )
    return _drawn(f"lows-{box}", title, (7.6, 2.6), draw)


def nights_plot(words: Words, facts: Facts, box: str, nights: Sequence[Night]) -> str:
    """A small picture of each night: box, floor, what was foreseen as its lowest, refills, outdoors."""
    columns = 4
    rows = -(-len(nights) // columns)

    def draw(figure: "Figure") -> None:
        grid = figure.subplots(rows, columns, squeeze=False, sharey=True)
        for axes, night in zip(grid.flat, nights, strict=False):
            _one_night(axes, words, facts, night)
        for axes in list(grid.flat)[len(nights) :]:
            axes.set_visible(False)

    title = words.say(
        "{box}: the course of each night, with floor, foreseen lowest, refills and outdoor air",
        box=words.box_first(box),
    )
    return _drawn(f"nights-{box}", title, (7.6, 0.4 + 1.55 * rows), draw)


def _one_night(axes: "Axes", words: Words, facts: Facts, night: Night) -> None:
    unit = words.site.keeper.unit

    def hour(wall_s: Any) -> Any:
        return (np.asarray(wall_s) - night.from_s) / 3600.0

    seen = facts.boxes[night.box].between(night.from_s, night.to_s)
    at, box = _with_gaps(seen)
    axes.plot(hour(at), shown_in(box, unit), color=BLUE, lw=1.2)
    at, outdoor = _with_gaps(facts.outdoor.between(night.from_s, night.to_s))
    axes.plot(hour(at), shown_in(outdoor, unit), color=GREY, lw=0.8)
    length_h = (night.to_s - night.from_s) / 3600.0
    if night.forecast is not None:
        floor = shown_in(np.array([night.forecast.floor_c]), unit)[0]
        axes.plot([0.0, length_h], [floor, floor], color=GREEN, lw=1.0, ls="--")
    if night.forecast is not None and night.forecast.known:
        low, _, high = shown_in(np.array(night.forecast.low_c), unit)
        axes.axhspan(low, high, color=BLUE, alpha=0.15, lw=0)
    _refill_marks(axes, [float(hour(one.wall_s)) for one in night.refills])
    axes.set_title(words.day_month(night.evening), fontsize=8, loc="left", pad=2)
    start = datetime.fromtimestamp(night.from_s, facts.site.zone)
    ticks = np.arange(0.0, length_h, 3.0)
    axes.set_xticks(ticks, [words.hour((start.hour + int(t)) % 24) for t in ticks])
    axes.set_xlim(0.0, length_h)
    axes.tick_params(labelsize=7)


def chicks_plot(
    words: Words, facts: Facts, flocks: Sequence[Flocked], masses_g: Sequence[tuple[float, float]]
) -> str:
    """Chicks alive by the notes, the first 72 hours shaded, and the mass by the table."""
    day0_s = _day0_s(facts)

    def draw(figure: "Figure") -> None:
        alive, mass = figure.subplots(1, 2, width_ratios=(3, 2))
        for flock, line in zip(flocks, ("-", "--", "-.", ":") * 8, strict=False):
            days = [(at - day0_s) / DAY_S for at, _ in flock.steps] + [(facts.told.to_s - day0_s) / DAY_S]
            counts = [count for _, count in flock.steps]
            alive.step(
                days, [*counts, counts[-1]], where="post", color=BLUE, ls=line, label=words.box(flock.box)
            )
        alive.axvspan(0.0, FIRST_DAYS, color="#efefef", lw=0)
        alive.set_ylim(bottom=0)
        alive.yaxis.get_major_locator().set_params(integer=True)
        alive.set_xlabel(words.say("days of age (first 72 h shaded)"))
        alive.set_ylabel(words.say("chicks"))
        if len(flocks) > 1:
            alive.legend(frameon=False, fontsize=8)
        mass.plot(*zip(*masses_g, strict=True), color=ORANGE, lw=1.5)
        mass.set_xlabel(words.say("days of age"))
        mass.set_ylabel(words.say("mass by the table, g"))
        mass.set_ylim(bottom=0)

    title = words.say("Chicks alive by day of age, and the mass that the table gives; nothing was weighed")
    return _drawn("chicks", title, (7.6, 2.4), draw)


def holds_plot(words: Words, taught: Taught) -> str:
    """How long a fill holds at 0, 5 and 10 C outside, at three ages: range and middle."""

    def draw(figure: "Figure") -> None:
        grid = figure.subplots(1, len(taught.holds), sharey=True)
        for axes, holds in zip(grid, taught.holds, strict=True):
            for x, sizing in enumerate(holds.at):
                low, middle, high = (
                    24.0 if hours is None else hours
                    for hours in (sizing.early_h, sizing.median_h, sizing.late_h)
                )
                axes.plot([x, x], [low, high], color=BLUE, lw=9, alpha=0.35, solid_capstyle="butt")
                axes.plot([x - 0.25, x + 0.25], [middle, middle], color=BLUE, lw=2)
            axes.set_xticks(range(len(OUTDOOR_C)), [words.degrees(c) for c in OUTDOOR_C])
            axes.set_title(words.say("day {day}", day=f"{holds.age_days:g}"), fontsize=9, loc="left")
            axes.set_ylim(0.0, 24.5)
            axes.set_xlim(-0.6, len(OUTDOOR_C) - 0.4)
            axes.set_yticks((0, 6, 12, 18, 24))
        grid[0].set_ylabel(words.say("hold after a fill, h"))

    title = words.say(
        "{box}: hold after a fill by outdoor temperature and age, 10 to 90 %", box=words.box_first(taught.box)
    )
    return _drawn(f"holds-{taught.box}", title, (7.6, 2.2), draw)
