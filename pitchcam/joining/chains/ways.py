"""All ways through a graph without cycles, the lightest first.

Best first by what a way weighs so far and what the lightest rest of it weighs: nothing is looked at
that is no beginning of a way to the goal, and the ways come in order. A package of graphs takes
several times as long to load as a whole question takes to answer.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterator, Mapping
from itertools import count
from typing import TypeVar

Node = TypeVar("Node")


def lightest_rests(graph: Mapping[Node, Mapping[Node, int]], goal: Node) -> dict[Node, int]:
    """Return what the lightest way to a goal weighs from each node that has one.

    Parameters
    ----------
    graph
        Node -> following node -> weight of the step, at least 0. A goal need be no key.
    goal
        Where all ways end.
    """
    before: dict[Node, list[tuple[Node, int]]] = defaultdict(list)
    for node, following in graph.items():
        for after, weight in following.items():
            before[after].append((node, weight))
    rests: dict[Node, int] = {}
    order = count()
    open_ends = [(0, next(order), goal)]
    while open_ends:
        rest, _, node = heapq.heappop(open_ends)
        if node in rests:
            continue
        rests[node] = rest
        for earlier, weight in before.get(node, ()):
            if earlier not in rests:
                heapq.heappush(open_ends, (rest + weight, next(order), earlier))
    return rests


def ways(
    graph: Mapping[Node, Mapping[Node, int]], start: Node, goal: Node
) -> Iterator[tuple[int, tuple[Node, ...]]]:
    """Yield (weight, nodes) of every way from start to goal, the lightest first.

    Parameters
    ----------
    graph
        As of :func:`lightest_rests`, without cycles.
    start, goal
        Both ends of the ways, which are among their nodes.

    Examples
    --------
    >>> list(ways({"a": {"b": 2, "c": 1}, "b": {"d": 0}, "c": {"d": 3}}, "a", "d"))
    [(2, ('a', 'b', 'd')), (4, ('a', 'c', 'd'))]
    """
    rests = lightest_rests(graph, goal)
    order = count()
    open_ways: list[tuple[int, int, int, tuple[Node, ...]]] = []
    if start in rests:
        open_ways.append((rests[start], next(order), 0, (start,)))
    while open_ways:
        whole, _, so_far, way = heapq.heappop(open_ways)
        if way[-1] == goal:
            yield whole, way
            continue
        for after, weight in graph.get(way[-1], {}).items():
            if after in rests:
                spent = so_far + weight
                entry = (spent + rests[after], next(order), spent, (*way, after))
                heapq.heappush(open_ways, entry)
