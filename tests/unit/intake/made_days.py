"""Invented days of a total station and level books, of known truth, with seeded noise."""

import csv
import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from wrackline.crs import grid_factors
from wrackline.intake.station_days import read_station_day
from wrackline.model import ControlValue, Survey, Vertical
from wrackline.verdict import Problems, Source

CRS = "EPSG:32625"
E0, N0 = 324_400.0, 4_207_600.0
RADIUS_M = 6_371_000.0
ANGLE_SD_DEG = 5 / 3600
HEAD = [
    "kind",
    "point",
    "instrument_height_m",
    "target_height_m",
    "circle_deg",
    "zenith_deg",
    "slope_m",
    "prism_constant_mm",
    "line",
    "sequence",
    "code",
    "time",
]


def survey(**more):
    values = {
        "name": "day",
        "technique": "total station",
        "holds": "floor_points",
        "form": "station_day",
        "file": "day.csv",
        "crs": CRS,
        "from_date": dt.date(2031, 6, 1),
        "to_date": dt.date(2031, 6, 2),
        "vertical": Vertical(meaning="height"),
        "random_horizontal_sd_m": 0.02,
        "random_vertical_sd_m": 0.015,
    }
    return Survey(**values | more)


@dataclass
class Made:
    """A day being made: control as stated, true places, and rows written so far."""

    seed: int = 0
    count: int = 8
    mark_sd: float = 0.01
    shift: tuple = (0.0, 0.0, 0.0)
    turn: float = 0.0
    noise: float = 1.0
    rows: list = field(default_factory=list)
    head: list = field(default_factory=lambda: list(HEAD))
    truth: dict = field(default_factory=dict)

    def __post_init__(self):
        self.rng = np.random.default_rng(self.seed)
        around = np.linspace(0, 2 * np.pi, self.count, endpoint=False) + 0.3
        reach = 30 + 25 * np.cos(3 * around)
        local = np.column_stack(
            [reach * np.cos(around), reach * np.sin(around), 1.0 + np.cos(5 * around)]
        )
        self.marks = {f"CP{k + 1}": self.moved(at) for k, at in enumerate(local)}
        self.stated = {
            name: at + self.noise * self.rng.normal(0, self.mark_sd, 3)
            for name, at in self.marks.items()
        }
        self.scale = float(grid_factors(CRS, np.array([E0]), np.array([N0]))[1][0])

    def moved(self, local):
        """Take a place of the invented drawing to the grid."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        east, north, up = np.asarray(local, dtype=float)
        return np.array([E0 + c * east + s * north, N0 - s * east + c * north, up]) + self.shift

    def control(self, **changed):
        """Return the stated marks, some of them changed by (east, north, up)."""
        return tuple(
            ControlValue(
                point=name,
                easting=at[0] + changed.get(name, (0, 0, 0))[0],
                northing=at[1] + changed.get(name, (0, 0, 0))[1],
                height=at[2] + changed.get(name, (0, 0, 0))[2],
                sd_m=self.mark_sd,
            )
            for name, at in self.stated.items()
        )

    def station(self, at, *, name="", height=1.5, circle_zero=None):
        """Set up at a place of the grid, or on a mark of this name."""
        self.at = self.marks[name].copy() if name in self.marks else self.moved(at)
        self.at[2] += height
        self.zero = float(self.rng.uniform(0, 360)) if circle_zero is None else circle_zero
        self.rows.append({"kind": "station", "point": name, "instrument_height_m": f"{height:.3f}"})

    def sight(self, kind, point, place, *, pole=2.0, **more):
        """Sight a pole on a place of the grid."""
        held = place + self.noise * self.rng.normal(0, 1, 3) * (0.02, 0.02, 0.015)
        east, north, up = held - self.at + (0, 0, pole)
        level = np.hypot(east, north) / self.scale
        straight = up - 0.87 * level**2 / (2 * RADIUS_M)
        angles = self.noise * self.rng.normal(0, ANGLE_SD_DEG, 2)
        circle = np.degrees(np.arctan2(east, north)) - self.zero + angles[0]
        zenith = np.degrees(np.arctan2(level, straight)) + angles[1]
        row = {
            "kind": kind,
            "point": point,
            "target_height_m": f"{pole:.3f}",
            "circle_deg": f"{circle % 360:.6f}",
            "zenith_deg": f"{zenith:.6f}",
            "slope_m": f"{np.hypot(level, straight):.5f}",
            "code": "floor",
        }
        self.rows.append(row | more)
        self.truth[point] = place

    def backs(self, *names):
        for name in names:
            self.sight("back_sight", name, self.marks[name])

    def shots(self, count, first=1, **more):
        for k in range(count):
            local = [self.rng.uniform(-25, 25), self.rng.uniform(-25, 25), -self.rng.uniform(1, 4)]
            self.sight("shot", str(first + k), self.moved(local), **more)

    def write(self, folder, name="day.csv"):
        with (folder / name).open("w", newline="", encoding="utf-8") as out:
            extra = sorted({key for row in self.rows for key in row} - set(self.head))
            writer = csv.DictWriter(out, [*self.head, *extra], restval="")
            writer.writeheader()
            writer.writerows(self.rows)

    def read(self, folder, *, control=None, **more):
        """Write and read the day; return what was found, and faults and suspicions."""
        self.write(folder)
        problems = Problems()
        marks = self.control() if control is None else control
        source = Source("2031-day", survey(**more), folder, marks)
        return read_station_day(source, problems), problems.listed()


def usual_day(seed=0, shots=20, **more):
    """Return a day of one free station with sights to eight marks, and shots."""
    made = Made(seed, **more)
    made.station((4.0, -3.0, 2.0))
    made.backs(*made.marks)
    made.shots(shots)
    return made
