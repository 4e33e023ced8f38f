"""The world outside the daemon: the true box, its probes, the keeper's hands. Runs in a thread."""

import queue
import threading
from collections.abc import Callable
from typing import Final

from coldbrood.clock import Clock
from coldbrood.demo import scenario
from coldbrood.demo.keeper import Errand, Keeper
from coldbrood.demo.packets import BatteryProbe
from coldbrood.demo.receiver import Arrived
from coldbrood.probes import simulated
from coldbrood.probes.simulated import Chicks, Probe, Weather
from coldbrood.probes.simulated_weather import Night

HOUR_S: Final = 3600.0
BATTERY_OUT_S: Final = 1.75 * HOUR_S
MORNING_FILL_S: Final = 12.75 * HOUR_S
HOT_FILL_C: Final = 78.0
UNDER_WAY_MOST: Final = (
    40  # values that may be on their way; a machine that is slower than the clock gets fewer
)

Say = Callable[[str], None]


class World:
    """Steps the truth with the clock and sends what the probes read. `say(text)` tells what happens.

    `taken` is set by whoever sees the journal: the values that the daemon has dealt with.
    """

    def __init__(self, clock: Clock, seed: int, box: BatteryProbe, outdoor: BatteryProbe, say: Say) -> None:
        self._clock, self._say = clock, say
        self._began_s = clock.mono_s()
        self._box, self._outdoor = box, outdoor
        self._night = Night(scenario.NIGHT, seed)
        first_c = self._night.at(0.0).outdoor_c
        self._truth = simulated.start(scenario.TRUE, first_c, 24.0, scenario.FILL_C)
        self._box_probe = Probe(seed + 1, at_c=24.0, offset_c=0.1)
        self._outdoor_probe = Probe(seed + 2, at_c=first_c, wander_sd_c=0.05)
        self._shaded = False
        self.taken = 0
        self._inbox: queue.SimpleQueue[Arrived] = queue.SimpleQueue()
        self._keeper = Keeper([Errand("battery-out", BATTERY_OUT_S), Errand("hot-fill", MORNING_FILL_S)])
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="demo-world", daemon=True)

    def start(self) -> None:
        """Let the night begin."""
        self._thread.start()

    def stop(self) -> int:
        """End it, wait for the broker to take the last packets, and tell how many values it took in all."""
        self._stop.set()
        if self.alive:
            self._thread.join(5.0)
        for probe in (self._box, self._outdoor):
            probe.settle(1.0)
        return self._box.sent + self._outdoor.sent

    @property
    def alive(self) -> bool:
        """Whether its thread runs."""
        return self._thread.is_alive()

    def phone(self, arrived: Arrived) -> None:
        """A message on the keeper's phone. May be called from any thread."""
        self._inbox.put(arrived)

    def story_s(self) -> float:
        """Seconds since the story began."""
        return self._clock.mono_s() - self._began_s

    def _run(self) -> None:
        last_s = 0.0
        while not self._stop.is_set():
            now_s = self.story_s()
            if now_s - last_s < scenario.READING_EVERY_S:
                self._stop.wait(self._clock.real_s(scenario.READING_EVERY_S - (now_s - last_s)))
                continue
            self._read_phone(now_s)
            self._keeper.carry_out(now_s, self._do)
            self._pass_time(last_s, now_s)
            last_s = now_s

    def _pass_time(self, last_s: float, now_s: float) -> None:
        """A slow machine gives fewer readings, never wrong ones: the truth goes on by what really passed."""
        weather = self._weather(now_s)
        dt_s = now_s - last_s
        self._truth.step(dt_s, weather, Chicks(scenario.CHICKS, scenario.AGE_DAYS + now_s / 86_400.0))
        self._box_probe.follow(dt_s, self._truth.air_c)
        self._outdoor_probe.follow(dt_s, weather.outdoor_c)
        if self._box.handed + self._outdoor.handed - self.taken < UNDER_WAY_MOST:
            self._box.send(self._box_probe.read_c())
            self._outdoor.send(self._outdoor_probe.read_c())

    def _weather(self, now_s: float) -> Weather:
        weather = self._night.at(now_s)
        return Weather(weather.outdoor_c, weather.wind_m_s, 0.0 if self._shaded else weather.sun_w_m2)

    def _read_phone(self, now_s: float) -> None:
        while True:
            try:
                arrived = self._inbox.get_nowait()
            except queue.Empty:
                return
            self._keeper.told(arrived.title, now_s)

    def _do(self, act: str) -> None:
        self._say(ACTS[act](self))

    def _refill(self) -> str:
        self._truth.refill(scenario.FILL_C, wrapped=False)
        return f"The keeper refills the jug: {scenario.FILL_C:.0f} C, lid open half a minute."

    def _hot_fill(self) -> str:
        self._truth.refill(HOT_FILL_C, wrapped=False)
        self._truth.vent_factor = 0.4
        return (
            f"Up and about, the keeper fills too hot, {HOT_FILL_C:.0f} C, and shuts the vents. "
            "The sun is on the pane."
        )

    def _air(self) -> str:
        self._truth.vent_factor = 6.0
        self._shaded = True
        return "The keeper props the lid open and shades the pane."

    def _battery_out(self) -> str:
        self._box.alive = False
        return "The battery of the probe in the box goes flat."

    def _battery(self) -> str:
        self._box.alive, self._box.battery_pct = True, 100.0
        return "The keeper puts a charged battery into the probe."


ACTS: Final[dict[str, Callable[[World], str]]] = {
    "refill": World._refill,
    "hot-fill": World._hot_fill,
    "air": World._air,
    "battery-out": World._battery_out,
    "battery": World._battery,
}
