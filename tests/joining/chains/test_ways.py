"""Ways through a graph without cycles, held against NetworkX's search for simple paths."""

import random
from itertools import islice

import networkx as nx
import pytest

from pitchcam.joining.chains.ways import lightest_rests, ways


def layered(rng, layers, wide):
    """Return a random graph from one start through layers to one goal, as nested dictionaries."""
    places = [[(0, 0)], *([(k, i) for i in range(wide)] for k in range(1, layers)), [(layers, 0)]]
    graph = {}
    for k, here in enumerate(places[:-1]):
        for node in here:
            graph[node] = {}
            for later in places[k + 1 : k + 3]:
                for after in later:
                    if rng.random() < 0.6:
                        graph[node][after] = rng.randint(0, 4)
    return graph, (0, 0), (layers, 0)


@pytest.mark.parametrize("seed", range(20))
def test_all_ways_come_once_and_in_the_order_of_their_weights(seed):
    graph, start, goal = layered(random.Random(seed), 4, 3)
    plain = nx.DiGraph()
    plain.add_nodes_from([start, goal])
    for node, following in graph.items():
        for after, weight in following.items():
            plain.add_edge(node, after, weight=weight)
    known = {
        tuple(path): nx.path_weight(plain, path, "weight")
        for path in nx.all_simple_paths(plain, start, goal)
    }
    found = list(ways(graph, start, goal))
    assert {way: weight for weight, way in found} == known
    assert len(found) == len(known)
    assert [weight for weight, _ in found] == sorted(known.values())
    rests = nx.single_source_dijkstra_path_length(plain.reverse(), goal)
    assert lightest_rests(graph, goal) == rests


def test_the_first_ways_do_not_wait_for_all_others():
    """Forty layers of nine have more ways than could ever be listed."""
    graph = {(k, i): {(k + 1, j): 1 + i + j for j in range(9)} for k in range(40) for i in range(9)}
    weights = [weight for weight, _ in islice(ways(graph, (0, 0), (40, 0)), 5)]
    assert weights == [40, 42, 42, 42, 42]


def test_no_way_is_no_answer():
    assert list(ways({"a": {"b": 1}}, "a", "c")) == []
    assert list(ways({}, "a", "a")) == [(0, ("a",))]
