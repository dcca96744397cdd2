"""Small networks with random tables in the layers of a car's, and random readings of them."""

from __future__ import annotations

import numpy as np

from faultnet.inference.evidence import Evidence
from faultnet.model.network import Array, Layer, Network, Node


class Draft:
    """Nodes put down one after the other."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.nodes: dict[str, Node] = {}

    def add(self, name: str, layer: Layer, parents: tuple[str, ...] = (), card: int | None = None) -> None:
        card = card or int(self.rng.integers(2, 4))
        shape = (card, *(self.nodes[p].card for p in parents))
        table = self.rng.gamma(0.7, size=shape) + 1e-3
        states = tuple(f"s_{i}" for i in range(card))
        self.nodes[name] = Node(name, layer, states, parents, table / table.sum(axis=0))

    def some(self, names: list[str], most: int) -> tuple[str, ...]:
        count = int(self.rng.integers(0, min(most, len(names)) + 1))
        return tuple(self.rng.permutation(names)[:count].tolist()) if count else ()


def random_network(
    rng: np.random.Generator, *, charge: bool, battery: bool, unlisted: bool, parameters: int, quantities: int
) -> Network:
    """Components; a state of charge with a history, if asked; hidden states and parameters; quantities."""
    draft = Draft(rng)
    parts = ["part_a", "part_b", "part_c"]
    for part in parts:
        draft.add(part, "component")
    if unlisted:
        draft.add("unlisted", "component", card=2)
    if battery:
        draft.add("battery", "component", draft.some(parts, 2))
        parts = [*parts, "battery"]
    above = list(parts)
    if charge:
        draft.add("supply", "state", draft.some(parts, 2))
        draft.add("charge", "state", ("supply", *draft.some(parts, 2)))
        above += ["charge"]
    for part in parts[: int(rng.integers(0, 3))]:
        draft.add(f"{part}_now", "state", (part,))
        above += [f"{part}_now"]
    for i in range(parameters):
        draft.add(f"parameter_{i}", "parameter" if rng.random() < 0.7 else "state", draft.some(above, 3))
        above += [f"parameter_{i}"]
    for i in range(quantities):
        draft.add(f"quantity_{i}", "quantity", draft.some(above, 3))
    return Network(draft.nodes)


def random_reading(rng: np.random.Generator, node: Node) -> Evidence:
    """A soft reading, or a hard one that names a state."""
    if rng.random() < 0.5:
        return Evidence(node.name, rng.random(node.card) + 1e-3, float(rng.random() + 1e-3))
    return Evidence(node.name, np.eye(node.card)[rng.integers(node.card)], 1.0 / node.card)


def random_outcomes(rng: np.random.Generator, node: Node, classes: int = 3) -> tuple[str, Array, Array]:
    """A test of a quantity: outcome table and outcome shares under a fault the model does not know."""
    table = rng.random((node.card, classes)) + 1e-3
    background = rng.random(classes) + 1e-3
    return node.name, table / table.sum(axis=1, keepdims=True), background / background.sum()
