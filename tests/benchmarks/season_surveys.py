"""What the seasons of a simulated town surveyed: which walls, how well, and what is true by then.

A story says from which season each wall can be known, which are lost, and what the team decides;
surveys trace walls with errors drawn from their stated model (`wrackline.demo.survey`). Amounts are
invented; noise of 2 to 5 cm is usual for poles and tapes under water (common practice, no source).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import shapely
from season_towns import (
    LEAST_ROOMS,
    OUTSIDE,
    Bools,
    Ints,
    Rng,
    Room,
    Shapes,
    Town,
    ends_on,
    make_town,
)
from towns import straight_parts

from wrackline.demo.survey import displace, draw_named
from wrackline.model import Decision
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.linework import LINE_COLUMNS

CRS = "EPSG:32633"
ORIGIN = (431000.0, 4300000.0)
FIRST_YEAR, OLDER = 2031, "1925"
ENDS_M, JAMBS_M = (0.05, 0.15), 0.05
LEAST_LINE_M = 0.4
LOOKED_M = 1.0
LEAST_WALL_M = 1.5
MISSED = 0.08
NEVER = 99
SEASONS = (3, 6)


@dataclass(frozen=True)
class Traced:
    """One survey of walls.

    Attributes
    ----------
    name, season : str
    atoms : array of bool, shape (a,)
        Stretches of wall that it traced.
    model : ErrorModel
        As stated, and as drawn from.
    lines : GeoDataFrame
        `LINE_COLUMNS`, as the stage `walls` takes them.
    looked_at : Polygon
        Ground that it states it looked over.
    old : bool
        Whether it is an older plan.
    """

    name: str
    season: str
    atoms: Bools
    model: ErrorModel
    lines: gpd.GeoDataFrame
    looked_at: shapely.Geometry
    old: bool


@dataclass(frozen=True)
class Story:
    """What happens to a town's walls; seasons are counted from 0.

    Attributes
    ----------
    town : Town
    count : int
        Seasons.
    found : array of int, shape (r,)
        Season from which a run can be traced.
    by_hand : array of bool, shape (r,)
        Whether it is never traced, but drawn by the team as a split.
    lost : array of int, shape (a,)
        Season from which a stretch is gone; `NEVER` where it isn't.
    merged : dict of int to int
        Runs that the team says part nothing, and from which season.
    opened : dict of int to int
        Cells that the team calls open ground, and from which season.
    """

    town: Town
    count: int
    found: Ints
    by_hand: Bools
    lost: Ints
    merged: dict[int, int] = field(default_factory=dict)
    opened: dict[int, int] = field(default_factory=dict)

    def can_trace(self, season: int) -> Bools:
        """Return the atoms that a survey of a season can trace, shape (a,)."""
        run = self.town.run
        there = (self.found[run] <= season) & ~self.by_hand[run] & (self.lost > season)
        decided = [r for r, since in self.merged.items() if since <= season]
        return np.asarray(there & ~np.isin(run, decided))

    def known(self, traced: Bools, season: int) -> Bools:
        """Return the atoms that part cells once some were traced, shape (a,)."""
        run = self.town.run
        drawn = self.by_hand[run] & (self.found[run] <= season)
        decided = [r for r, since in self.merged.items() if since <= season]
        return np.asarray((traced | drawn) & ~np.isin(run, decided))

    def rooms(self, traced: Bools, season: int) -> list[Room]:
        """Return the true rooms as known in a season."""
        opened = [c for c, since in self.opened.items() if since <= season]
        return self.town.rooms(self.known(traced, season), opened)

    def groups(self) -> list[list[int]]:
        """Return cells by the rooms that walls known from the start make of them."""
        early = (self.found == 0)[self.town.run]
        rooms = [sorted(room) for room in self.town.rooms(early)]
        rest = set(range(len(self.town.cells))) - {c for room in rooms for c in room}
        return rooms + [[c] for c in sorted(rest)]


@dataclass(frozen=True)
class Seasons:
    """A town, its story, and what every season surveyed.

    Attributes
    ----------
    seed : int
    story : Story
    names : list of str
        Of the seasons, in order.
    surveys : list of Traced
        Of all seasons, in order.
    first : int
        Season of the story that the first name stands for: -1 where an older plan comes before.
    """

    seed: int
    story: Story
    names: list[str]
    surveys: list[Traced]
    first: int = 0

    def upto(self, season: str) -> list[Traced]:
        """Return the surveys of all seasons up to one."""
        return [s for s in self.surveys if s.season <= season]

    def traced(self, season: str) -> Bools:
        """Return the atoms traced in all seasons up to one."""
        return np.asarray(np.any([s.atoms for s in self.upto(season)], axis=0))

    def number(self, season: str) -> int:
        """Return a season's place in the story."""
        return self.names.index(season) + self.first

    def known(self, season: str) -> Bools:
        """Return the atoms known by a season, the team's decisions followed."""
        return self.story.known(self.traced(season), self.number(season))

    def rooms(self, season: str) -> list[Room]:
        """Return the true rooms known by a season."""
        return self.story.rooms(self.traced(season), self.number(season))

    def floors(self, season: str) -> Shapes:
        """Return their floors, in the site's CRS."""
        known = self.known(season)
        floors = [self.story.town.floor(room, known) for room in self.rooms(season)]
        return _at_site(np.array(floors, dtype=object))

    def lost_share(self, season: str) -> dict[Room, float]:
        """Return the share of each room's recorded outline that later surveys saw was gone."""
        town, known = self.story.town, self.known(season)
        gone = known & (self.story.lost <= self.number(season))
        size = shapely.length(town.atoms)
        shares = {}
        for room in self.rooms(season):
            around = town.around(room)
            around = around[known[around]]
            shares[room] = float(size[around[gone[around]]].sum() / size[around].sum())
        return shares

    def decisions(self, season: str) -> list[Decision]:
        """Return what the team had decided by a season."""
        now = self.number(season)
        found = [_split(self, run) for run in np.flatnonzero(self.story.by_hand).tolist()]
        found += [_merge(self, run, since) for run, since in self.story.merged.items()]
        found += [_open(self, cell, since) for cell, since in self.story.opened.items()]
        return [d for d in found if d.date.year <= FIRST_YEAR + now]


def _at_site(shapes: Shapes) -> Shapes:
    moved = shapely.transform(shapes, lambda xy: xy + np.array(ORIGIN))
    return np.asarray(moved, dtype=object)


def place_in(sequence: Seasons, room: Room) -> tuple[float, float]:
    """Return a place well inside a room, in the site's CRS."""
    ground = shapely.union_all(sequence.story.town.cells[sorted(room)], grid_size=1e-6)
    spot = shapely.maximum_inscribed_circle(ground, 0.1).coords[0]
    return spot[0] + ORIGIN[0], spot[1] + ORIGIN[1]


def _decided(word: str, since: int, one: tuple[float, float], other: object = None) -> Decision:
    at = {"easting": one[0], "northing": one[1]}
    if isinstance(other, tuple):
        at |= {"to_easting": other[0], "to_northing": other[1]}
    day = dt.date(FIRST_YEAR + since, 9, 1)
    return Decision(decision=word, who="A. Diver", date=day, why="seen on the ground", **at)  # type: ignore[arg-type]


def _split(sequence: Seasons, run: int) -> Decision:
    xy = shapely.get_coordinates(sequence.story.town.runs[run]) + np.array(ORIGIN)
    since = int(sequence.story.found[run])
    return _decided("split", since, tuple(xy[0].tolist()), tuple(xy[-1].tolist()))


def _merge(sequence: Seasons, run: int, since: int) -> Decision:
    """Return the merger of the rooms beside a run, at places close to its middle."""
    town = sequence.story.town
    cells = town.beside[np.flatnonzero(town.run == run)[0]].tolist()
    one, other = (place_in(sequence, frozenset([c])) for c in cells)
    return _decided("merge", since, one, other)


def _open(sequence: Seasons, cell: int, since: int) -> Decision:
    return _decided("open_ground", since, place_in(sequence, frozenset([cell])))


def make_sequence(
    seed: int, rooms: tuple[int, int] = LEAST_ROOMS, seasons: tuple[int, int] = SEASONS
) -> Seasons:
    """Return a town and 3 to 6 seasons of surveys, from one number.

    Parameters
    ----------
    seed : int
    rooms, seasons : tuple of int
        Between which numbers are drawn: of rooms at least, and of seasons.
    """
    rng = np.random.default_rng([seed, 7])
    town = make_town(rng, rooms)
    count = int(rng.integers(seasons[0], seasons[1] + 1))
    story = _story(rng, town, count)
    cover = _covered(rng, story)
    story, traced = _told(rng, story, cover)
    names = [str(FIRST_YEAR + k) for k in range(count)]
    usual = str(rng.choice(["centre", "face"], p=[0.6, 0.4]))
    old = rng.random() < 0.25
    surveys: list[Traced] = []
    for k, (name, atoms, ground) in enumerate(zip(names, traced, cover, strict=True)):
        for j, part in enumerate(_parts(rng, town, atoms)):
            if shapely.length(town.atoms[part]).max(initial=0.0) < LEAST_WALL_M:
                continue  # a season in which no wall worth the name was traced
            follows = usual if rng.random() < 0.96 else "centre" if usual == "face" else "face"
            model = _model(rng, f"{name}-walls-{j + 1}", k, old=old and k == 0)
            looked = _looked(town, ground)
            surveys.append(
                survey(rng, story, part, model=model, follows=follows, looked=looked, season=k)
            )
    return Seasons(seed, story, names, surveys)


def _story(rng: Rng, town: Town, count: int) -> Story:
    """Return which walls are found late: partitions, some with others that end on them; links."""
    found = np.zeros(len(town.runs), dtype=np.int64)
    by_hand = np.zeros(len(town.runs), dtype=bool)
    inner = [r for r in range(len(town.runs)) if not town.link[r] and _parts_rooms(town, r)]
    leaves = {r: ends_on(town, r) for r in inner}
    plain = [r for r in inner if not leaves[r]]
    for r in rng.permutation(plain)[: int(rng.integers(1, 2 + len(plain) // 3))].tolist():
        found[r] = rng.integers(1, count)
        by_hand[r] = rng.random() < 0.2
    longer = [r for r in inner if leaves[r] and leaves[r] <= set(plain)]
    if longer and rng.random() < 0.3:
        run = int(rng.choice(longer))
        late = [run, *leaves[run]]
        found[late], by_hand[late] = rng.integers(1, count), False
    found[town.link] = rng.integers(1, count, int(town.link.sum()))
    return Story(town, count, found, by_hand, np.full(len(town.atoms), NEVER))


def _parts_rooms(town: Town, run: int) -> bool:
    """Tell whether a run has rooms on both sides all along."""
    beside = town.beside[town.run == run]
    return bool(len(beside) and (beside != OUTSIDE).all())


def _covered(rng: Rng, story: Story) -> list[set[int]]:
    """Return the cells that every season looks over: a part at first, more and again later."""
    town, groups = story.town, story.groups()
    middles = shapely.get_coordinates(shapely.centroid(town.cells))
    way = rng.uniform(0, 2 * np.pi)
    along = middles @ np.array([np.cos(way), np.sin(way)])
    order = sorted(range(len(groups)), key=lambda g: along[groups[g]].mean())
    first = int(np.ceil(rng.uniform(0.4, 1.0) * len(order)))
    seen = set(order[:first])
    cover = [set(seen)]
    for k in range(1, story.count):
        share = rng.uniform(0.1, 0.7)
        again = {g for g in seen if rng.random() < share}
        left = [g for g in order if g not in seen]
        new = left if k == story.count - 1 else left[: int(rng.integers(0, len(left) + 1))]
        late = {g for g in seen if _is_due(story, groups[g], k)}
        cover.append(again | set(new) | late)
        seen |= set(new)
    return [{c for g in chosen for c in groups[g]} for chosen in cover]


def _is_due(story: Story, cells: Sequence[int], season: int) -> bool:
    """Tell whether a wall in a group of cells is found in a season."""
    runs = story.town.run[np.isin(story.town.beside, cells).all(axis=1)]
    return bool((story.found[runs] == season).any())


def _told(rng: Rng, story: Story, cover: list[set[int]]) -> tuple[Story, list[Bools]]:
    """Return the story with losses and decisions, and the atoms traced in every season."""
    story = _with_losses(rng, story, cover)
    story = _with_decisions(rng, story, cover)
    traced: list[Bools] = []
    known = np.zeros(len(story.town.atoms), dtype=bool)
    for k, cells in enumerate(cover):
        atoms = _of_season(story, cells, k)
        atoms &= ~(known & (rng.random(len(atoms)) < MISSED))
        known |= atoms
        traced.append(atoms)
    return story, traced


def _of_season(story: Story, cells: set[int], season: int) -> Bools:
    town = story.town
    near = np.isin(town.beside, list(cells)).any(axis=1)
    links = town.link[town.run] & (story.found[town.run] == season)
    return np.asarray((near | links) & story.can_trace(season))


def _before(story: Story, cover: list[set[int]], season: int) -> Bools:
    """Return the atoms that will have been traced by a season."""
    return np.asarray(np.any([_of_season(story, cover[k], k) for k in range(season + 1)], axis=0))


def _with_losses(rng: Rng, story: Story, cover: list[set[int]]) -> Story:
    """Return a story in which a room or two lose walls; whoever comes then looks at the place."""
    lost, town = story.lost.copy(), story.town
    for share in (rng.uniform(0.65, 1.0), rng.uniform(0.65, 1.0), rng.uniform(0.1, 0.35)):
        season = int(rng.integers(1, story.count))
        rooms = story.rooms(_before(story, cover, season - 1), season - 1)
        if rng.random() < 0.4 or not rooms:
            continue
        room = rooms[int(rng.integers(len(rooms)))]
        atoms = town.around(room)
        size = shapely.length(town.atoms[atoms])
        atoms = np.roll(atoms, int(rng.integers(len(atoms))))
        stop = int(np.searchsorted(np.cumsum(size) / size.sum(), share)) + 1
        lost[atoms[:stop]] = np.minimum(lost[atoms[:stop]], season)
        cover[season] |= set(room)
    return replace(story, lost=lost)


def _with_decisions(rng: Rng, story: Story, cover: list[set[int]]) -> Story:
    """Return a story in which the team calls two rooms one, or a room open ground."""
    merged: dict[int, int] = {}
    opened: dict[int, int] = {}
    town = story.town
    whole = [
        r
        for r in range(len(town.runs))
        if (town.run == r).sum() == 1 and _parts_rooms(town, r) and story.found[r] == 0
    ]
    for r in rng.permutation(whole)[: int(rng.integers(0, 3))].tolist():
        season = int(rng.integers(1, story.count))
        rooms = story.rooms(_before(story, cover, season - 1), season - 1)
        one, other = town.beside[np.flatnonzero(town.run == r)[0]].tolist()
        if frozenset([one]) in rooms and frozenset([other]) in rooms:
            merged[r] = season
    if rng.random() < 0.3:
        season = int(rng.integers(1, story.count))
        story_now = replace(story, merged=merged)
        rooms = story_now.rooms(_before(story_now, cover, season), season)
        busy = {c for r in merged for c in town.beside[town.run == r].ravel().tolist()}
        single = [c for c, *more in map(list, rooms) if not more and c not in busy]
        if single:
            opened[int(rng.choice(single))] = season
    return replace(story, merged=merged, opened=opened)


def _parts(rng: Rng, town: Town, atoms: Bools) -> list[Bools]:
    """Return the atoms of one survey or of two that share out a season's ground."""
    if rng.random() < 0.6 or atoms.sum() < 20:
        return [atoms]
    middle = shapely.get_coordinates(shapely.centroid(town.atoms))
    way = rng.uniform(0, 2 * np.pi)
    along = middle @ np.array([np.cos(way), np.sin(way)])
    west = along < np.median(along[atoms])
    parts = [atoms & west, atoms & ~west]
    return [part for part in parts if part.any()]


def _model(rng: Rng, name: str, season: int, *, old: bool) -> ErrorModel:
    """Return the stated errors of a survey: later ones are better, a tape plan 0.3 to 0.5 m."""
    if old:
        random, patchy = rng.uniform(0.05, 0.08), rng.uniform(0.1, 0.2)
        shift = rng.uniform(0.28, 0.4)
    else:
        better = 0.9**season
        random, patchy = rng.uniform(0.02, 0.05) * better, rng.uniform(0, 0.04) * better
        shift = rng.uniform(0.02, 0.1) * better
    named = tuple(NamedError(f"{name}:{axis}", axis, shift) for axis in ("easting", "northing"))
    return ErrorModel(name, random, 0.03, patchy, 0.02, float(rng.uniform(5, 30)), named)


def _looked(town: Town, cells: set[int]) -> shapely.Geometry:
    ground = shapely.union_all(town.cells[sorted(cells)], grid_size=1e-6).buffer(LOOKED_M)
    return _at_site(np.array([ground], dtype=object))[0]


def survey(
    rng: Rng,
    story: Story,
    atoms: Bools,
    *,
    model: ErrorModel,
    follows: str,
    looked: shapely.Geometry,
    season: int,
) -> Traced:
    """Return a survey of chosen atoms in a season of the story, -1 for long before."""
    old = model.named[0].sd > 0.2
    name = OLDER if season < 0 else str(FIRST_YEAR + season)
    if follows == "centre":
        exact = _centres(story.town, atoms)
    else:
        exact = _faces(story.town, atoms, story.can_trace(max(season, 0)) | atoms)
    jambs = shapely.points(np.array([d.coords for d in story.town.doors.values()]).reshape(-1, 2))
    drawn = [_with_ends(rng, line, jambs) for line in exact]
    step = float(rng.uniform(2, 5))
    points = [shapely.get_coordinates(shapely.segmentize(line, step)) for line in drawn]
    xy = np.concatenate(points) + np.array(ORIGIN)
    xyz = np.column_stack([xy, -3 + 0.2 * np.sin(xy @ np.array([0.1, 0.07]))])
    moved = displace(xyz, model, rng, draw_named([model], rng))
    parts = np.split(moved, np.cumsum([len(p) for p in points])[:-1])
    parts = [part if rng.random() < 0.5 else part[::-1] for part in parts]
    table = _table(
        [parts[k] for k in rng.permutation(len(parts))], model.survey, name, follows, old
    )
    return Traced(model.survey, name, atoms, model, table, looked, old)


def _centres(town: Town, atoms: Bools) -> list[shapely.LineString]:
    """Return what a faultless survey draws of chosen atoms by their centres."""
    found = []
    for run in np.unique(town.run[atoms]).tolist():
        mine = town.atoms[atoms & (town.run == run)]
        whole = shapely.line_merge(shapely.MultiLineString(list(mine)))
        if run in town.doors:
            whole = whole.difference(town.doors[run].buffer(0.05, cap_style="flat"))
        found += [_straight(part) for part in shapely.get_parts(whole)]
    return [line for line in found if line.length > LEAST_LINE_M]


def _straight(line: shapely.LineString) -> shapely.LineString:
    return shapely.LineString([line.coords[0], line.coords[-1]])


def _faces(town: Town, atoms: Bools, standing: Bools) -> list[shapely.LineString]:
    """Return what a faultless survey draws of chosen atoms by the faces of what stands."""
    body = shapely.union_all(town.bodies(standing), grid_size=1e-6)
    rings = shapely.get_rings(shapely.get_parts(body))
    sides = [s for ring in rings for s in straight_parts(_opened(shapely.simplify(ring, 1e-3)))]
    half = town.thick[town.run[atoms]] / 2 + 0.02
    near = shapely.union_all(shapely.buffer(town.atoms[atoms], half, cap_style="square"))
    doors = [
        shapely.buffer(door, town.thick[run] / 2 + 0.1, cap_style="flat")
        for run, door in town.doors.items()
    ]
    left = shapely.intersection(np.array(sides, dtype=object), near)
    left = shapely.difference(left, shapely.union_all(doors)) if doors else left
    parts = shapely.get_parts(shapely.line_merge(left))
    parts = parts[shapely.get_type_id(parts) == 1]
    return [_straight(part) for part in parts[shapely.length(parts) > LEAST_LINE_M]]


def _opened(ring: shapely.LinearRing) -> shapely.LineString:
    """Return a ring as a line that begins at its sharpest corner."""
    xy = shapely.get_coordinates(ring)[:-1]
    before, after = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
    turn = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    first = int(np.argmax(turn / (np.hypot(*before.T) * np.hypot(*after.T) + 1e-12)))
    return shapely.LineString(np.roll(xy, -first, axis=0)[np.r_[0 : len(xy), 0]])


def _with_ends(rng: Rng, line: shapely.LineString, jambs: Shapes) -> shapely.LineString:
    """Return a line whose ends overshoot or fall short by 5 to 15 cm, less at a doorway's jamb."""
    xy = shapely.get_coordinates(line)
    way = (xy[1] - xy[0]) / np.hypot(*(xy[1] - xy[0]))
    for end, sign in ((0, -1), (1, 1)):
        jamb = len(jambs) and shapely.distance(jambs, shapely.Point(xy[end])).min() < 0.6
        most = JAMBS_M if jamb else float(rng.uniform(*ENDS_M))
        xy[end] += sign * way * rng.uniform(-most, most)
    return shapely.LineString(xy)


def _table(
    lines: list[np.ndarray], survey: str, season: str, follows: str, old: bool
) -> gpd.GeoDataFrame:
    """Return traced lines as the stage `walls` takes them."""
    data: dict[str, object] = {name: [None] * len(lines) for name in LINE_COLUMNS}
    data |= {
        "survey": survey,
        "season": season,
        "line": [f"L{k + 1}" for k in range(len(lines))],
        "row": range(1, len(lines) + 1),
        "kind": "wall",
        "origin": "built",
        "evidence": "old plan" if old else "recorded",
        "line_follows": follows,
        "traced_at": "top",
        "repeats": "",
        "thickness_m": 0.55 if follows == "centre" else np.nan,
        "thickness_sd_m": 0.1 if follows == "centre" else 0.0,
        "from_date": f"{season}-06-01",
        "to_date": f"{season}-06-20",
    }
    shapes = [shapely.LineString(line) for line in lines]
    return gpd.GeoDataFrame(data, geometry=shapes, crs=CRS)


def repaired(sequence: Seasons) -> tuple[Seasons, str] | None:
    """Return a sequence whose first survey is repaired in a late season, and what was done to it.

    It is moved by up to 0.3 m, or a wall is taken out that was a mistake, or one put in that had
    been forgotten. None where the town has no such wall.
    """
    rng = np.random.default_rng([sequence.seed, 8])
    kind = str(rng.choice(["moved", "wall taken out", "wall put in"]))
    first = sequence.surveys[0]
    if kind == "moved":
        turn, far = rng.uniform(0, 2 * np.pi), rng.uniform(0.05, 0.3)
        shapes = first.lines.translate(far * np.cos(turn), far * np.sin(turn))
        one = replace(first, lines=first.lines.set_geometry(shapes))
        return replace(sequence, surveys=[one, *sequence.surveys[1:]]), kind
    run = _repairable(rng, sequence, out=kind == "wall taken out")
    return None if run is None else (_with_wall(sequence, run, out=kind == "wall taken out"), kind)


def _repairable(rng: Rng, sequence: Seasons, *, out: bool) -> int | None:
    """Return a partition that can come out of the first survey, or go into it."""
    story, first = sequence.story, sequence.surveys[0]
    town = story.town
    able = []
    for run in range(len(town.runs)):
        atoms = np.flatnonzero(town.run == run)
        plain = len(atoms) == 1 and _parts_rooms(town, run) and run not in story.merged
        around = town.around(frozenset(town.beside[atoms].ravel().tolist())) if plain else []
        if plain and out and first.atoms[atoms].all():
            able.append(run)
        late = story.found[run] > 0 and not story.by_hand[run]
        if plain and not out and late and first.atoms[around].all():
            able.append(run)
    return int(rng.choice(able)) if able else None


def _with_wall(sequence: Seasons, run: int, *, out: bool) -> Seasons:
    """Return a sequence with a partition out of every survey, or in its first one."""
    story, mine = sequence.story, sequence.story.town.run == run
    changed = []
    for k, one in enumerate(sequence.surveys):
        if out and one.atoms[mine].any():
            changed.append(_drawn_anew(sequence, one, one.atoms & ~mine, k))
        elif not out and k == 0:
            found = np.where(np.arange(len(story.found)) == run, 0, story.found)
            early = replace(sequence, story=replace(story, found=found))
            changed.append(_drawn_anew(early, one, one.atoms | mine, k))
        else:
            changed.append(one)
    return replace(sequence, surveys=changed)


def _drawn_anew(sequence: Seasons, one: Traced, atoms: Bools, at: int) -> Traced:
    """Return a survey with other atoms: lines that are the same stay as they were drawn."""
    rng = np.random.default_rng([sequence.seed, 9, at])
    town = sequence.story.town
    differ = shapely.union_all(town.bodies(one.atoms ^ atoms)).buffer(0.1)
    ground = _at_site(np.array([differ], dtype=object))[0]
    run = np.unique(town.run[one.atoms ^ atoms])
    follows = str(one.lines["line_follows"].iloc[0])
    if (atoms & ~one.atoms).any():
        new = survey(
            rng, sequence.story, atoms & np.isin(town.run, run), model=one.model, follows=follows,
            looked=one.looked_at, season=sequence.number(one.season),
        ).lines  # fmt: skip
        both = [one.lines, new.assign(row=new["row"] + 1000, line="A" + new["line"])]
        table = gpd.GeoDataFrame(gpd.pd.concat(both, ignore_index=True), crs=CRS)
        return replace(one, atoms=atoms, lines=table)
    inside = shapely.length(shapely.intersection(one.lines.geometry.array, ground))
    stays = inside < 0.7 * one.lines.length.to_numpy()
    return replace(one, atoms=atoms, lines=one.lines[stays].reset_index(drop=True))


def with_older(sequence: Seasons) -> Seasons:
    """Return a sequence before which an older plan, long unknown, is put."""
    rng = np.random.default_rng([sequence.seed, 10])
    story = sequence.story
    town = story.town
    groups = story.groups()
    chosen = rng.permutation(len(groups))[: max(2, int(rng.uniform(0.3, 0.9) * len(groups)))]
    cells = {c for g in chosen.tolist() for c in groups[g]}
    early = (story.found == 0) | ((rng.random(len(story.found)) < 0.4) & ~story.by_hand)
    near = np.isin(town.beside, list(cells)).any(axis=1)
    model = _model(rng, f"{OLDER}-plan", 0, old=True)
    follows = str(sequence.surveys[0].lines["line_follows"].iloc[0])
    looked = _looked(town, cells)
    one = survey(
        rng, story, near & early[town.run], model=model, follows=follows, looked=looked, season=-1
    )
    names, surveys = [OLDER, *sequence.names], [one, *sequence.surveys]
    return replace(sequence, names=names, surveys=surveys, first=-1)
