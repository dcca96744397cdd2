"""The same beliefs and gains by pyAgrum and by pgmpy, each in the fastest way we found with it."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from faultnet.inference.evidence import Evidence
from faultnet.inference.posterior import TINY
from faultnet.model.export import ancestral, to_pgmpy, with_brought_in, with_seen
from faultnet.model.network import Array, Network
from tests.inference.outside import answered, pyagrum, pyagrum_network


@dataclass(frozen=True)
class Peer:
    """What another library found, and how long it took [s]."""

    seconds_beliefs: float
    seconds_gains: dict[str, float]
    marginals: dict[str, Array]
    gains: dict[str, float]


def part_for(network: Network, seen: Sequence[Evidence], reading: str | None, when_sound: float) -> Network:
    """What a question needs of the network: readings seen, one reading asked about, and the complaint."""
    wanted = {e.quantity for e in seen} | ({reading} if reading else set())
    return with_brought_in(with_seen(ancestral(network, wanted), seen), when_sound)


def mutual(joint: Array) -> float:
    """Mutual information of the two axes of a table of chances [bit]."""
    joint = joint / joint.sum()
    independent = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float((joint * np.log2(np.maximum(joint, TINY) / np.maximum(independent, TINY))).sum())


def by_pyagrum(network: Network, seen: Sequence[Evidence], tests: Sequence[str], when_sound: float) -> Peer:
    """Lazy propagation: one inference for all components, and for each test the faster of two ways.

    (a) One inference with the test and each component as joint targets; (b) one inference for each outcome with the
    outcome as evidence, stopped as soon as it takes longer than (a). Only the part of the network that a test needs is
    handed over; converting it is not timed.
    """
    whole = part_for(network, seen, None, when_sound)
    engine = pyagrum().LazyPropagation(pyagrum_network(whole))
    begin = time.perf_counter()
    engine.setEvidence(answered(whole))
    engine.setTargets(set(network.components))
    engine.makeInference()
    marginals = {c: np.array(engine.posterior(c).tolist()) for c in network.components}
    beliefs = time.perf_counter() - begin
    seconds, gains = {}, {}
    for test in tests:
        part = part_for(network, seen, f"reading_{test}", when_sound)
        model = pyagrum_network(part)
        first, gains[test] = _by_joint_targets(model, answered(part), f"reading_{test}", network.components)
        second = _by_outcome(model, answered(part), f"reading_{test}", network.components, first)
        seconds[test] = min(first, second)
    return Peer(beliefs, seconds, marginals, gains)


def _by_joint_targets(
    model: Any, given: dict[str, str], reading: str, components: Sequence[str]
) -> tuple[float, float]:
    begin = time.perf_counter()
    engine = pyagrum().LazyPropagation(model)
    engine.setEvidence(given)
    for component in components:
        engine.addJointTarget({reading, component})
    engine.makeInference()
    gain = sum(mutual(np.array(engine.jointPosterior({reading, c}).tolist())) for c in components)
    return time.perf_counter() - begin, gain


def _by_outcome(model: Any, given: dict[str, str], reading: str, components: Sequence[str], limit: float) -> float:
    begin = time.perf_counter()
    engine = pyagrum().LazyPropagation(model)
    engine.setEvidence({**given, reading: 0})
    engine.setTargets(set(components))
    for outcome in range(model.variable(reading).domainSize()):
        engine.chgEvidence(reading, outcome)
        engine.makeInference()
        for component in components:
            engine.posterior(component)
        engine.evidenceProbability()
        if time.perf_counter() - begin > limit:
            break
    return time.perf_counter() - begin


def by_pgmpy(network: Network, seen: Sequence[Evidence], tests: Sequence[str], when_sound: float) -> Peer:
    """Variable elimination: one query for each component, and one for each pair of test and component."""
    from pgmpy.inference import VariableElimination

    whole = part_for(network, seen, None, when_sound)
    asked = VariableElimination(to_pgmpy(whole))
    begin = time.perf_counter()
    marginals = {}
    for component in network.components:
        factor = asked.query([component], evidence=answered(whole), show_progress=False)
        order = [factor.state_names[component].index(s) for s in network.nodes[component].states]
        marginals[component] = factor.values[order]
    beliefs = time.perf_counter() - begin
    seconds, gains = {}, {}
    for test in tests:
        reading = f"reading_{test}"
        part = part_for(network, seen, reading, when_sound)
        asked = VariableElimination(to_pgmpy(part))
        begin = time.perf_counter()
        pairs = [asked.query([reading, c], evidence=answered(part), show_progress=False) for c in network.components]
        gains[test] = sum(mutual(p.values) for p in pairs)
        seconds[test] = time.perf_counter() - begin
    return Peer(beliefs, seconds, marginals, gains)
