"""The ways to join a part to a port from stock, best first, by a search over a graph of ends.

The graph is laid in layers: a node is an open end with the number of pieces and demerits spent so
far, so that every class (pieces, demerits) has its own goal, and within a class the shortest way
is the best. The order of answers is: fewest pieces, fewest demerits (joints by agreement only,
doubtful earth), least added between the faces, then the better rated and wider fittings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from pitchcam.frozen import dataclass
from pitchcam.joining.chains.chain import (
    Chain,
    Link,
    added_mm,
    bottoms,
    evaluate,
    fitting_allowed,
    joint_demerits,
)
from pitchcam.joining.chains.question import Question, check_question
from pitchcam.joining.chains.ways import lightest_rests, ways
from pitchcam.joining.mating.ends import End
from pitchcam.joining.mating.mate import size_key
from pitchcam.joining.stock.sheet import Fitting

#: A row's rank among the better rated ones is packed under its length (in um) into one whole
#: number; the ranks of a whole chain of 1.6 million rows still fit.
_RANK_ROOM = 10_000_000


#: (kind of node, number, pieces, demerits), see :func:`_graph`; the port is kind of end 0.
_Node = tuple[int, int, int, int]
_START: _Node = (0, 0, 0, 0)
#: Node -> following node -> weight of the step to it.
_Graph = dict[_Node, dict[_Node, int]]


@dataclass(frozen=True, slots=True)
class _Step:
    """Screwing one fitting on: which and which way round, the end it opens, what it costs."""

    number: int
    link: Link
    far: End
    kind: int
    weight: int


#: Steps by the thread size of the end that they are screwed on with, then by that end.
_Steps = dict[tuple[str, str, float], dict[End, list[_Step]]]


def adapt(question: Question, stock: Sequence[Fitting], *, best: int = 3) -> tuple[Chain, ...]:
    """Return the best chains from stock, the best first; empty where there is none.

    Parameters
    ----------
    question
        Port, part and limits.
    stock
        Rows of stock; a row is used no more often than its count.
    best
        How many answers are wanted. Where the two mate directly, that is the only one.

    Raises
    ------
    UsageError
        If the limits contradict each other.
    """
    check_question(question)
    if joint_demerits(question.port, question.part, question) is not None:
        return (evaluate(question, ()),)
    steps = _steps(question, stock)
    graph, screwed = _graph(question, steps, best + question.max_pieces)
    chains: list[Chain] = []
    for links in _ways(graph, screwed, question):
        if any(_holds(links, shorter.links) for shorter in chains):
            continue
        chains.append(evaluate(question, links))
        if len(chains) == best:
            break
    return tuple(chains)


def _holds(links: tuple[Link, ...], shorter: tuple[Link, ...]) -> bool:
    """Whether a chain has all pieces of a shorter one, in their order: it only adds to it."""
    rest = iter(link.fitting.id for link in links)
    return len(shorter) < len(links) and all(s.fitting.id in rest for s in shorter)


def rank_rows(rows: Iterable[Fitting]) -> dict[str, int]:
    """Return each row's rank, 1 for the highest rated; ties by the wider bore, then by id."""
    ranked = sorted(rows, key=lambda f: (-(f.pressure_bar or 0.0), -f.bore_mm, f.id))
    return {f.id: rank for rank, f in enumerate(ranked, start=1)}


def _steps(question: Question, stock: Sequence[Fitting]) -> _Steps:
    """Return every usable row both ways round, by thread size and then by its near end."""
    usable = [f for f in stock if f.count > 0 and fitting_allowed(f, question)]
    ranks = rank_rows(usable)
    kinds: dict[End, int] = {question.port: 0}
    steps: _Steps = defaultdict(lambda: defaultdict(list))
    number = 0
    for f in usable:
        weight = round(added_mm(f) * 1000.0) * _RANK_ROOM + ranks[f.id]
        for turned, near, far in ((False, f.end_a, f.end_b), (True, f.end_b, f.end_a)):
            if near is not None and far is not None and not (turned and near == far):
                kind = kinds.setdefault(far, len(kinds))
                link = Link(fitting=f, turned=turned)
                step = _Step(number, link, far, kind, weight)
                steps[size_key(near.designation)][near].append(step)
                number += 1
    return steps


def _graph(question: Question, steps: _Steps, keep: int) -> tuple[_Graph, dict[_Node, Link]]:
    """Lay the graph in layers from the port; only ends from which the part can be reached.

    Nodes are whole numbers, since they are hashed a million times: (0, kind of open end, pieces,
    demerits), (1, number of a step, pieces, demerits), (2, pieces, demerits, 0) for the goals.
    Returned beside it is which fitting each step's node screws on.

    Of many rows between the same two ends only the ``keep`` lightest can be in the best answers:
    a lighter one could stand in for any later one, unless it is used up in the same chain.
    """
    options = _Options(question, steps, keep)
    left = _pieces_left(question, options)
    most = question.max_pieces
    graph: _Graph = {_START: {}}
    links: dict[_Node, Link] = {}
    edge = [(_START, question.port)]
    while edge:
        node, end = edge.pop()
        _, kind, pieces, demerits = node
        last = joint_demerits(end, question.part, question)
        if last is not None:
            graph[node][2, pieces, demerits + last, 0] = 0
        for against, step in options.of(kind, end, first=pieces == 0):
            if pieces + 1 + left.get(step.kind, most + 1) > most:
                continue
            after = (0, step.kind, pieces + 1, demerits + against)
            through = (1, step.number, pieces, demerits + against)
            if after not in graph:
                graph[after] = {}
                edge.append((after, step.far))
            links[through] = step.link
            graph[node][through] = 0
            graph[through] = {after: step.weight}
    return graph, links


class _Options:
    """What can be screwed on an open end, found once per kind of end."""

    def __init__(self, question: Question, steps: _Steps, keep: int) -> None:
        self._question, self._steps, self._keep = question, steps, keep
        self._known: dict[tuple[int, bool], list[tuple[int, _Step]]] = {}

    def of(self, kind: int, end: End, *, first: bool = False) -> list[tuple[int, _Step]]:
        """Return (demerits of the joint, step), thinned to the lightest of each kind.

        ``first`` is for the piece in the port itself, which must not bottom there.
        """
        if (kind, first) not in self._known:
            self._known[kind, first] = list(self._find(end, first))
        return self._known[kind, first]

    def _find(self, end: End, first: bool) -> Iterator[tuple[int, _Step]]:
        groups: dict[tuple[int, int], list[_Step]] = defaultdict(list)
        for near, steps in self._steps.get(size_key(end.designation), {}).items():
            against = joint_demerits(end, near, self._question)
            if against is not None:
                for step in steps:
                    if first and bottoms(step.link, self._question):
                        continue
                    groups[against, step.kind].append(step)
        for (against, _), group in groups.items():
            for step in sorted(group, key=lambda s: s.weight)[: self._keep]:
                yield against, step


def _pieces_left(question: Question, options: _Options) -> dict[int, int]:
    """Return, for each kind of open end, how many more pieces lead from it to the part."""
    part = -1
    kinds: dict[int, dict[int, int]] = {0: {}}
    edge = [(0, question.port, 0)]
    while edge:
        kind, end, pieces = edge.pop(0)
        if joint_demerits(end, question.part, question) is not None:
            kinds[kind][part] = 1
        if pieces == question.max_pieces:
            continue
        for _, step in options.of(kind, end):
            if step.kind not in kinds:
                kinds[step.kind] = {}
                edge.append((step.kind, step.far, pieces + 1))
            kinds[kind][step.kind] = 1
    lengths = lightest_rests(kinds, part)
    return {kind: count - 1 for kind, count in lengths.items() if kind != part}


def _ways(
    graph: _Graph, links: dict[_Node, Link], question: Question
) -> Iterator[tuple[Link, ...]]:
    """Yield chains in the order of answers: class by class, within a class by weight then ids."""
    goals = {after for following in graph.values() for after in following if after[0] == 2}
    for goal in sorted(goals):
        for weight, tied in groupby(ways(graph, _START, goal), key=lambda pair: pair[0]):
            if _too_long(weight, question):
                break
            chains = [tuple(links[n] for n in path if n[0] == 1) for _, path in tied]
            yield from sorted(filter(_in_stock, chains), key=_ids)


def _too_long(weight: int, question: Question) -> bool:
    most = question.most_added_mm
    return most is not None and weight // _RANK_ROOM > round(most * 1000.0)


def _ids(links: tuple[Link, ...]) -> tuple[str, ...]:
    return tuple(link.fitting.id for link in links)


def _in_stock(links: tuple[Link, ...]) -> bool:
    ids = _ids(links)
    return all(ids.count(link.fitting.id) <= link.fitting.count for link in links)


#: Limit -> how people name it, and the question without it.
_LIMITS = {
    "bore": "a bore of {0.bore_mm:g} mm",
    "pressure": "a rating of {0.pressure_bar:g} bar",
    "temperature": "a rating of {0.temperature_c:g} deg C",
    "room": "the limit of {0.room_mm:g} mm of room about the port",
    "length": "the limit of {0.most_added_mm:g} mm between the faces",
    "depth": "the port's depth of {0.port_depth_mm:g} mm",
    "earth": "an earth through the thread",
}


def without(question: Question, limit: str) -> Question | None:
    """Return the question with one limit dropped, None where it has no such limit."""
    if limit == "bore":
        return replace(question, bore_mm=0.0) if question.bore_mm else None
    if limit == "pressure":
        return replace(question, pressure_bar=None) if question.pressure_bar else None
    if limit == "temperature":
        return replace(question, temperature_c=None) if question.temperature_c else None
    if limit == "room":
        return replace(question, room_mm=None) if question.room_mm else None
    if limit == "length":
        return (
            None
            if question.most_added_mm is None
            else replace(question, stand_off_mm=None, probe_mm=None)
        )
    if limit == "depth":
        return replace(question, port_depth_mm=None) if question.port_depth_mm else None
    return replace(question, one_wire=False) if question.one_wire else None


def what_stands_in_the_way(
    question: Question, stock: Sequence[Fitting]
) -> tuple[tuple[str, Chain], ...]:
    """Return each single limit without which stock has an answer, in words, with that answer."""
    result = []
    for limit, words in _LIMITS.items():
        freer = without(question, limit)
        if freer is not None:
            chains = adapt(freer, stock, best=1)
            if chains:
                result.append((words.format(question), chains[0]))
    return tuple(result)
