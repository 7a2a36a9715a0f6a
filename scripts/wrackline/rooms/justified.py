"""The justified access graph of a building: spaces in levels by the doors to outside.

The outside stands at the bottom, each space as many levels above it as doors must be passed
(Hillier and Hanson 1984, The Social Logic of Space, section 3.2 and pp. 106 f.). Within its level a
space stands where few lines cross.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import networkx as nx

Graph = Any
Levels = list[list[str]]

SWEEPS = 12


@dataclass(frozen=True)
class Place:
    """Where a space stands: `step` counts doors from outside, `across` places from the middle.

    A space that no door leads to has no step, and stands in a row of its own above all others.
    """

    step: int | None
    row: int
    across: float


def justified(
    edges: Sequence[tuple[str, str]], rooms: Sequence[str], outside: str = "outside"
) -> dict[str, Place]:
    """Return where each space of a building stands in its justified graph.

    Parameters
    ----------
    edges : sequence of tuple of str
        The two spaces that each door joins.
    rooms : sequence of str
    outside : str
        Name of the open ground.

    Returns
    -------
    dict of str to Place
        The outside and the rooms; the same whatever the order of edges and rooms.

    Notes
    -----
    Levels are ordered by sweeps of barycentres and by exchanges of neighbours (Sugiyama, Tagawa
    and Toda 1981, IEEE Transactions on Systems, Man and Cybernetics 11, from memory), from the
    order of a walk that keeps every tree free of crossings.

    Examples
    --------
    >>> doors = [("outside", "hall"), ("hall", "east"), ("hall", "west")]
    >>> places = justified(doors, ["east", "hall", "west"])
    >>> [(name, at.step, at.across) for name, at in places.items()]
    [('outside', 0, 0.0), ('hall', 1, 0.0), ('east', 2, -0.5), ('west', 2, 0.5)]
    """
    graph: Graph = nx.Graph()
    graph.add_nodes_from([outside, *sorted(rooms)])
    graph.add_edges_from(sorted((min(edge), max(edge)) for edge in edges))
    steps = nx.single_source_shortest_path_length(graph, outside)
    levels = _walked(graph, steps, outside)
    if lone := sorted(set(rooms) - set(steps)):
        levels.append(_chained(graph, lone))
    levels = _untangled(graph, levels)
    return {
        name: Place(steps.get(name), row, k - (len(level) - 1) / 2)
        for row, level in enumerate(levels)
        for k, name in enumerate(level)
    }


def _walked(graph: Graph, steps: Mapping[str, int], outside: str) -> Levels:
    """Return the levels in the order in which a walk through a tree of shortest ways meets them."""
    levels: Levels = [[] for _ in range(max(steps.values()) + 1)]
    met, waiting = set(), [outside]
    while waiting:
        name = waiting.pop()
        if name in met:
            continue
        met.add(name)
        levels[steps[name]].append(name)
        deeper = [
            n
            for n in graph[name]
            if steps[n] == steps[name] + 1 and _parent(graph, steps, n) == name
        ]
        waiting += sorted(deeper, reverse=True)
    return levels


def _parent(graph: Graph, steps: Mapping[str, int], name: str) -> str:
    """Return the first space, by name, by which a space is entered on a shortest way."""
    return str(min(other for other in graph[name] if steps[other] == steps[name] - 1))


def _chained(graph: Graph, lone: Sequence[str]) -> list[str]:
    """Return spaces that can't be entered, those that share doors side by side."""
    part = graph.subgraph(lone)
    groups = sorted(sorted(group) for group in nx.connected_components(part))
    return [name for group in groups for name in nx.dfs_preorder_nodes(part, group[0])]


def _untangled(graph: Graph, levels: Levels) -> Levels:
    """Return the levels in the order with the fewest crossings that is found."""
    best, least = levels, tangles(graph, levels)
    for start in (levels, [level[::-1] for level in levels]):
        now = start
        for sweep in range(SWEEPS):
            if not least:
                return best
            now = _exchanged(graph, _swept(graph, now, upward=sweep % 2 == 0))
            found = tangles(graph, now)
            if found < least:
                best, least = now, found
    return best


def _swept(graph: Graph, levels: Levels, *, upward: bool) -> Levels:
    """Return the levels, each ordered by the mean place of its neighbours in the level before."""
    done = [list(level) for level in levels]
    order = range(1, len(done)) if upward else range(len(done) - 2, -1, -1)
    for row in order:
        beside = {name: k for k, name in enumerate(done[row - 1 if upward else row + 1])}
        own = {name: k for k, name in enumerate(done[row])}

        def mean(name: str, beside: dict[str, int] = beside, own: dict[str, int] = own) -> float:
            places = [beside[other] for other in graph[name] if other in beside]
            return sum(places) / len(places) if places else float(own[name])

        done[row].sort(key=mean)
    return done


def _exchanged(graph: Graph, levels: Levels) -> Levels:
    """Return the levels after exchanges of neighbours, each of which takes crossings away."""
    done = [list(level) for level in levels]
    least, better = tangles(graph, done), True
    while better:
        better = False
        for level in done:
            for k in range(len(level) - 1):
                level[k], level[k + 1] = level[k + 1], level[k]
                found = tangles(graph, done)
                if found < least:
                    least, better = found, True
                else:
                    level[k], level[k + 1] = level[k + 1], level[k]
    return done


def tangles(graph: Graph, levels: Levels) -> int:
    """Return how many lines cross, and how many spaces an arc within a level must pass.

    Parameters
    ----------
    graph : Graph
    levels : list of list of str
        Spaces of each level, from left to right.

    Examples
    --------
    >>> cross = nx.Graph([("a", "d"), ("b", "c")])
    >>> tangles(cross, [["a", "b"], ["c", "d"]]), tangles(cross, [["a", "b"], ["d", "c"]])
    (1, 0)
    """
    at = {name: (row, k) for row, level in enumerate(levels) for k, name in enumerate(level)}
    ends = [sorted((at[one], at[other])) for one, other in graph.edges if one in at and other in at]
    passed = sum(abs(low[1] - high[1]) - 1 for low, high in ends if low[0] == high[0])
    between: dict[int, list[tuple[int, int]]] = {}
    for low, high in ends:
        if high[0] - low[0] == 1:
            between.setdefault(low[0], []).append((low[1], high[1]))
    crossed = 0
    for lines in between.values():
        for k, (left, right) in enumerate(lines):
            crossed += sum((left - a) * (right - b) < 0 for a, b in lines[k + 1 :])
    return crossed + passed
