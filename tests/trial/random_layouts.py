"""Random drive layouts for the trial: invented engines, each as a person would type it.

Every layout is made from one seed. Between them they hold 4 to 12 components, 3 to 8
cylinders, drives at the front (crank pulley) and at the rear (a gear-driven accessory
shaft and no crank pulley), one belt or two (beside or behind each other), alternators on
a coupling, two components on one pulley, overrunning pulleys, and diameters measured in
all the ways a workshop measures them. Ranges are common practice, no source.

    python tests/trial/random_layouts.py 7      prints the layout of seed 7
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np

from acoustic.drive.layout import Layout

Entry = dict[str, Any]

RIB_MEASURED = {"caliper over ribs": 0.5, "drawing": 0.25, "tape round the belt": 0.17}
BACK_MEASURED = {"flat back-side pulley": 0.75, "drawing": 0.17}
SMALL_BEARINGS = ["6003", "6201", "6202", "6203"]
PULLEY_BEARINGS = ["6203", "6203", "6202", "6303", "6204", "6004", "62203"]
IDLE_RPM = {3: (780, 950), 4: (720, 900), 5: (700, 850), 6: (620, 780), 8: (580, 720)}


def random_layout(rng: np.random.Generator) -> Layout:
    """Draw one valid layout."""
    return Layout.model_validate(LayoutMaker(rng).make())


def layout_of_seed(seed: int) -> Layout:
    """Layout of one seed; seeds 0 to 19 differ in build, the rest are free."""
    return random_layout(np.random.default_rng([seed, 77]))


class LayoutMaker:
    """Adds shafts, pulleys, belts and components one by one to a layout."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.shafts: list[Entry] = []
        self.pulleys: list[Entry] = []
        self.belts: list[Entry] = []
        self.components: list[Entry] = []

    def make(self) -> Entry:
        """Draw the whole layout as the data a TOML file would hold."""
        cylinders = int(self.rng.choice([3, 4, 4, 5, 6, 6, 8]))
        self.rear = bool(self.rng.uniform() < 0.4)
        wanted = int(self.rng.integers(4, 13))
        self.rear_shaft() if self.rear else self.crank_pulley()
        second = self.rng.uniform() < 0.4 and wanted >= 6
        self.fill(wanted - (2 if second else 0))
        self.close_main_belt()
        if second:
            self.second_belt()
        low, high = IDLE_RPM[cylinders]
        side = "rear" if self.rear else "front"
        return {
            "name": f"invented {cylinders}-cylinder engine, drive at the {side}",
            "engine": {
                "cylinders": cylinders,
                "idle_rpm": (float(low), float(high)),
                "working_rpm": (float(low), 3200.0),
            },
            "shaft": self.shafts,
            "pulley": self.pulleys,
            "belt": self.belts,
            "component": self.components,
        }

    def crank_pulley(self) -> None:
        """A pulley on the crankshaft drives the main belt."""
        self.driver = "crank pulley"
        self.pulleys.append(
            {
                "name": self.driver,
                "on": "crankshaft",
                **self.ribbed(128.0, 185.0),
                **self.maybe(0.08),
            }
        )
        self.path = [self.driver]
        self.driver_mm = float(self.pulleys[0]["diameter_mm"])

    def rear_shaft(self) -> None:
        """A gear-driven accessory shaft drives the main belt; the crankshaft has no pulley."""
        first = int(self.rng.integers(36, 62))
        last = int(self.rng.integers(26, 44))
        idlers = [int(self.rng.integers(28, 50)) for _ in range(self.rng.integers(0, 3))]
        self.shafts.append(
            {
                "name": "accessory shaft",
                "driven_by": {
                    "kind": "gears",
                    "from": "crankshaft",
                    "teeth": [first, *idlers, last],
                },
                "bearings": [{"place": "main", "designation": self.pick(["6205", "6206", "6305"])}],
            }
        )
        self.driver = "drive pulley"
        self.pulleys.append(
            {
                "name": self.driver,
                "on": "accessory shaft",
                **self.ribbed(105.0, 145.0),
                **self.maybe(0.35),
            }
        )
        self.path = [self.driver]
        self.driver_mm = float(self.pulleys[0]["diameter_mm"]) * first / last

    def fill(self, wanted: int) -> None:
        """Add components until the drive has `wanted`: alternator first, then a mix."""
        self.wanted = wanted
        self.alternator()
        pool = [
            self.water_pump,
            self.steering_pump,
            self.compressor,
            self.idler,
            self.idler,
            self.vacuum_pump,
            self.hydraulic_pump,
            self.fan_on_pump,
            self.supercharger,
            self.fuel_pump,
            self.air_compressor if self.rear else self.idler,
        ]
        weights = np.array([2.0, 1.6, 1.8, 1.5, 0.8, 0.6, 0.5, 0.8, 0.3, 0.4, 0.8])
        order = self.rng.choice(len(pool), len(pool), replace=False, p=weights / weights.sum())
        for index in order:
            if len(self.components) >= wanted - 1:
                break
            pool[index]()
        while len(self.components) < wanted - 1:
            self.idler()

    def close_main_belt(self) -> None:
        """Shuffle the path, put in the tensioner and lay the belt."""
        self.tensioner()
        tail = self.path[1:]
        self.rng.shuffle(tail)
        self.lay_belt("main", [self.path[0], *tail])

    def lay_belt(self, name: str, path: list[str]) -> None:
        """Lay a belt, its length known in most drives."""
        belt: Entry = {
            "name": name,
            "section": self.pick(["5PK", "6PK", "7PK", "8PK"]),
            "path": path,
        }
        if self.rng.uniform() < 0.6:
            belt["length_mm"] = float(round(500 + 190 * len(path) + self.rng.uniform(-80, 80)))
        self.belts.append(belt)

    def second_belt(self) -> None:
        """A belt beside the first one, or behind a pulley that the first one drives."""
        carrier = next((c for c in self.components if c["name"] == "water pump"), None)
        series = carrier is not None and "pulley" in carrier and self.rng.uniform() < 0.4
        on = "water pump" if series else "accessory shaft" if self.rear else "crankshaft"
        start = {"name": "second drive pulley", **self.ribbed(95.0, 150.0)}
        if series and carrier is not None:
            own = carrier.pop("pulley")
            self.pulleys.append({"name": "pump shaft pulley", **own})
            carrier["on"] = "pump shaft pulley"
            main = self.belts[0]["path"]
            main[:] = [entry.replace("water pump", "pump shaft pulley") for entry in main]
            on = "pump shaft pulley"
            for component in self.components:
                if component.get("on") == "water pump":
                    component["on"] = on
        self.pulleys.append({**start, "on": on})
        self.path = ["second drive pulley"]
        self.driver_mm = float(start["diameter_mm"])
        taken = {c["name"] for c in self.components}
        choices = {
            "compressor": self.compressor,
            "steering pump": self.steering_pump,
            "hydraulic pump": self.hydraulic_pump,
            "belt fan": self.belt_fan,
        }
        free = [make for name, make in choices.items() if name not in taken]
        free[int(self.rng.integers(len(free)))]()
        self.tensioner()
        self.lay_belt("second", self.path)

    def add(self, name: str, kind: str, pulley: Entry | None, **keys: Any) -> None:
        """Add a component, with its own pulley on the belt being laid if one is given."""
        entry: Entry = {"name": name, "kind": kind, **keys}
        if pulley is not None:
            back = pulley.pop("back", False)
            entry["pulley"] = pulley
            self.path.append(f"{name} (back)" if back else name)
        self.components.append(entry)

    def alternator(self) -> None:
        """Belt-driven, or on a coupling at the rear."""
        pairs = int(self.pick([6, 6, 7, 8]))
        keys: Entry = {"pole_pairs": pairs}
        if self.rng.uniform() < 0.6:
            keys["fan_blades"] = int(self.rng.integers(8, 14))
        if self.rng.uniform() < 0.3:
            keys["rear_fan_blades"] = int(self.rng.integers(8, 14))
        keys["bearings"] = [
            {"place": "front", "designation": self.pick(["6303", "6302", "6203"])},
            {"place": "rear", "designation": self.pick(["6202", "6201", "6003"])},
        ]
        if self.rear and self.rng.uniform() < 0.6:
            self.shafts.append(
                {
                    "name": "alternator shaft",
                    "driven_by": {
                        "kind": "coupling",
                        "from": "accessory shaft",
                        "overrunning": self.pick(["no", "no", "one-way"]),
                    },
                }
            )
            self.add("alternator", "alternator", None, on="alternator shaft", **keys)
            return
        pulley = self.ribbed(self.driver_mm / 3.1, self.driver_mm / 2.3, low=46.0)
        self.add("alternator", "alternator", {**pulley, **self.maybe(0.4)}, **keys)

    def water_pump(self) -> None:
        """On either side of the belt; at times it shares its pulley with the steering pump."""
        keys: Entry = {"vanes": int(self.rng.integers(5, 9))}
        if self.rng.uniform() < 0.5:
            keys["bearings"] = [{"place": "shaft", **self.geometry()}]
        room = len(self.components) < self.wanted - 2
        names = {component["name"] for component in self.components}
        if room and self.rng.uniform() < 0.3 and "steering pump" not in names:
            self.pulleys.append({"name": "pumps pulley", **self.ribbed(110.0, 150.0)})
            self.path.append("pumps pulley")
            self.components.append(
                {"name": "water pump", "kind": "water pump", "on": "pumps pulley", **keys}
            )
            self.components.append(
                {"name": "steering pump", "kind": "vane pump", "on": "pumps pulley", "vanes": 10}
            )
            return
        back = self.rng.uniform() < 0.4
        pulley = self.flat(105.0, 140.0) if back else self.ribbed(105.0, 150.0)
        self.add("water pump", "water pump", pulley, **keys)

    def steering_pump(self) -> None:
        """A vane pump; an idler instead where there is one already."""
        if "steering pump" in {c["name"] for c in self.components}:
            return self.idler()
        keys: Entry = {"vanes": int(self.pick([8, 10, 10, 11]))}
        if self.rng.uniform() < 0.6:
            keys["bearings"] = [{"place": "shaft", "designation": self.pick(SMALL_BEARINGS)}]
        return self.add("steering pump", "vane pump", self.ribbed(100.0, 150.0), **keys)

    def compressor(self) -> None:
        """Single- or double-headed, with the bearing of its clutch."""
        heads = int(self.pick([1, 1, 2]))
        pistons = int(self.pick([6, 10] if heads == 2 else [5, 6, 7]))
        keys: Entry = {"pistons": pistons, "heads": heads}
        keys["bearings"] = [{"place": "clutch", **self.geometry()}]
        if self.rng.uniform() < 0.5:
            keys["bearings"].append(
                {
                    "place": "shaft",
                    "designation": self.pick(["6203", "6004"]),
                    "turning_ring": "inner",
                }
            )
        self.add("compressor", "compressor", self.ribbed(95.0, 128.0), **keys)

    def idler(self) -> None:
        """Smooth on the back of the belt, or ribbed."""
        number = 1 + sum(c["kind"] == "idler" for c in self.components)
        back = self.rng.uniform() < 0.5
        pulley = self.flat(58.0, 82.0) if back else self.ribbed(60.0, 84.0)
        bearing = {"place": "main", "designation": self.pick(PULLEY_BEARINGS)}
        self.add(f"idler {number}", "idler", pulley, bearings=[bearing])

    def tensioner(self) -> None:
        """Smooth, on the back of the belt."""
        number = 1 + sum(c["kind"] == "tensioner" for c in self.components)
        name = "tensioner" if number == 1 else f"tensioner {number}"
        bearing = {"place": "main", "designation": self.pick(PULLEY_BEARINGS)}
        self.add(name, "tensioner", self.flat(60.0, 84.0), bearings=[bearing])

    def vacuum_pump(self) -> None:
        """On the alternator's shaft or on a pulley of its own."""
        vanes = int(self.pick([1, 3, 4, 5]))
        alternator = self.components[0]
        if "pulley" in alternator and self.rng.uniform() < 0.5:
            self.add("vacuum pump", "vacuum pump", None, on="alternator", vanes=vanes)
        else:
            self.add("vacuum pump", "vacuum pump", self.ribbed(75.0, 130.0), vanes=vanes)

    def hydraulic_pump(self) -> None:
        """A gear pump."""
        keys: Entry = {"teeth": int(self.rng.integers(9, 16))}
        self.add("hydraulic pump", "gear pump", self.ribbed(95.0, 150.0), **keys)

    def fan_on_pump(self) -> None:
        """A fan on the water pump's shaft; an idler where there is no pump."""
        pump = next((c for c in self.components if c["name"] == "water pump"), None)
        if pump is None:
            return self.idler()
        on = pump.get("on", "water pump")
        return self.add("fan", "fan", None, on=on, blades=int(self.rng.integers(6, 12)))

    def belt_fan(self) -> None:
        """A fan with a pulley of its own."""
        keys: Entry = {"blades": int(self.rng.integers(6, 12))}
        keys["bearings"] = [{"place": "hub", "designation": self.pick(["6204", "6304"])}]
        self.add("belt fan", "fan", self.ribbed(110.0, 160.0), **keys)

    def supercharger(self) -> None:
        """A supercharger on the belt."""
        keys: Entry = {"lobes": int(self.pick([2, 3, 4]))}
        keys["bearings"] = [{"place": "front", "designation": self.pick(["6203", "6303"])}]
        self.add("supercharger", "supercharger", self.ribbed(68.0, 90.0), **keys)

    def fuel_pump(self) -> None:
        """A fuel pump driven by chain or toothed belt."""
        driving = int(self.rng.integers(19, 25))
        self.shafts.append(
            {
                "name": "fuel pump shaft",
                "driven_by": {
                    "kind": self.pick(["toothed belt", "chain"]),
                    "from": "crankshaft",
                    "teeth": [driving, 2 * driving - int(self.pick([0, 0, 5]))],
                },
            }
        )
        lobes = int(self.pick([2, 3, 4]))
        self.add("fuel pump", "high-pressure fuel pump", None, on="fuel pump shaft", lobes=lobes)

    def air_compressor(self) -> None:
        """An air compressor geared to the accessory shaft."""
        wheel = int(self.rng.integers(28, 52))
        self.shafts.append(
            {
                "name": "air compressor shaft",
                "driven_by": {
                    "kind": "gears",
                    "from": "accessory shaft",
                    "teeth": [int(self.rng.integers(26, 44)), wheel],
                },
                "bearings": [{"place": "main", "designation": self.pick(["6205", "6305", "6206"])}],
            }
        )
        pistons = int(self.pick([1, 2]))
        self.add(
            "air compressor", "air compressor", None, on="air compressor shaft", pistons=pistons
        )

    def pick(self, choices: list[Any]) -> Any:
        """Draw one of the choices."""
        return choices[int(self.rng.integers(len(choices)))]

    def maybe(self, share: float) -> Entry:
        """Let a pulley overrun in a share of the drives."""
        if self.rng.uniform() >= share:
            return {}
        return {"overrunning": self.pick(["one-way", "decoupler"])}

    def ribbed(self, smallest: float, largest: float, low: float = 40.0) -> Entry:
        """A pulley under the ribs, measured in one of the ways."""
        diameter = max(low, self.rng.uniform(smallest, largest))
        return {"diameter_mm": round(float(diameter), 1), "measured": self.measured(RIB_MEASURED)}

    def flat(self, smallest: float, largest: float) -> Entry:
        """A smooth pulley under the back of the belt."""
        diameter = round(float(self.rng.uniform(smallest, largest)), 1)
        return {"diameter_mm": diameter, "measured": self.measured(BACK_MEASURED), "back": True}

    def measured(self, shares: dict[str, float]) -> str:
        """Draw a way of measuring; a few diameters are only estimated."""
        drawn = self.rng.uniform()
        for name, share in shares.items():
            drawn -= share
            if drawn < 0:
                return name
        return "estimate"

    def geometry(self) -> Entry:
        """A bearing whose balls were counted and measured."""
        count = int(self.rng.integers(9, 15))
        pitch = float(self.rng.uniform(26.0, 46.0))
        ball = pitch * float(self.rng.uniform(0.6, 0.85)) * np.sin(np.pi / count)
        return {
            "ball_count": count,
            "ball_diameter_mm": round(float(ball), 2),
            "pitch_diameter_mm": round(pitch, 2),
        }


if __name__ == "__main__":
    print(layout_of_seed(int(sys.argv[1])).model_dump_json(indent=1, exclude_defaults=True))
