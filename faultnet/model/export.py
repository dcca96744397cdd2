"""The network in other libraries' forms: a pgmpy model, BIF and XMLBIF text, several visits side by side.

Everything here goes through :class:`~faultnet.model.network.Network` first, so that whatever is exported can be
read back, compared and checked by the same means: :func:`with_seen` puts readings in as nodes of their own,
:func:`with_brought_in` conditions on the complaint, :func:`unrolled` puts visits side by side, and
:func:`for_tests` leaves out what a few tests do not need. Ids are slugs, since BIF and XMLBIF break on anything else.

Notes
-----
An ordinary car's whole network has 204 nodes and 2.3 million table entries: 0.02 s into pgmpy's form, 55 MB and 3.4 s
as BIF, 49 MB and 49 s as XMLBIF (measured with pgmpy 1.1.2 on one core). What rest voltage, crank minimum and the drop
on the positive side need is 6.7 MB and 0.4 s as BIF, 6 MB and 6 s as XMLBIF; three tests at rest take half a megabyte
and a twentieth of a second. pgmpy reads BIF slowly (0.5 MB in 5 s), pyAgrum the whole network in 2.4 s.
"""

from __future__ import annotations

import warnings
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from faultnet.errors import CaseError, EntryError
from faultnet.model.network import Array, Network, Node

if TYPE_CHECKING:
    from pgmpy.models import DiscreteBayesianNetwork

UNLISTED = "unlisted"
BROUGHT_IN = "brought_in"
YES_NO = ("yes", "no")
YES = "yes"


class Seen(Protocol):
    """What one reading says about its quantity; :class:`faultnet.inference.visit.Evidence` is one."""

    @property
    def quantity(self) -> str:
        """Name of the quantity node."""

    @property
    def likelihood(self) -> Array:
        """Weight of each of its states."""

    @property
    def background(self) -> float:
        """Weight under a fault the model does not know."""


def to_pgmpy(
    network: Network, seen: Sequence[Seen] = (), *, brought_in_when_sound: float | None = None
) -> DiscreteBayesianNetwork:
    """Give the network the form of a pgmpy model.

    Parameters
    ----------
    network : Network
    seen : sequence of readings, optional
        Added as nodes ``seen_1``, ``seen_2`` ...; ask with each of them ``yes``. See :func:`with_seen`.
    brought_in_when_sound : float, optional
        Adds the node ``brought_in`` [-]; ask with it ``yes``. See :func:`with_brought_in`.

    Returns
    -------
    pgmpy.models.DiscreteBayesianNetwork
        With state names, checked.

    Notes
    -----
    Ask it with ``VariableElimination``: pgmpy's ``BeliefPropagation`` cannot build a junction tree of this network.

    Examples
    --------
    >>> coin = Node("coin", "component", ("heads", "tails"), (), np.array([0.5, 0.5]))
    >>> to_pgmpy(Network({"coin": coin})).get_cpds("coin").state_names
    {'coin': ['heads', 'tails']}
    """
    whole = with_seen(network, seen)
    if brought_in_when_sound is not None:
        whole = with_brought_in(whole, brought_in_when_sound)
    with _without_their_warning():
        from pgmpy.models import DiscreteBayesianNetwork
    model = DiscreteBayesianNetwork()
    model.add_nodes_from(whole.nodes)
    model.add_edges_from([(parent, node.name) for node in whole.nodes.values() for parent in node.parents])
    model.add_cpds(*(_conditional_table(whole, node) for node in whole.nodes.values()))
    model.check_model()
    return model


def _conditional_table(network: Network, node: Node) -> Any:
    from pgmpy.factors.discrete import TabularCPD

    return TabularCPD(
        node.name,
        node.card,
        node.table.reshape(node.card, -1),
        evidence=list(node.parents) or None,
        evidence_card=[network.nodes[p].card for p in node.parents] or None,
        state_names={axis: list(network.nodes[axis].states) for axis in node.axes},
    )


def _without_their_warning() -> warnings.catch_warnings[None]:
    """Hide the warning pgmpy 1.1.2 gives of a module of its own when it is imported."""
    return warnings.catch_warnings(action="ignore", category=FutureWarning)


def to_bif(network: Network, *, tests: Collection[str] | None = None) -> str:
    """Write the network as BIF text.

    Parameters
    ----------
    network : Network
    tests : collection of str, optional
        Ids of the tests to keep; all when left out.

    Returns
    -------
    str
        Every probability with all its digits, so that it is read back unchanged.

    Raises
    ------
    EntryError
        If the network has no such test.

    Examples
    --------
    >>> coin = Node("coin", "component", ("heads", "tails"), (), np.array([0.5, 0.5]))
    >>> "table 0.5, 0.5 ;" in to_bif(Network({"coin": coin}))
    True

    References
    ----------
    F. G. Cozman, The Interchange Format for Bayesian Networks, 1998 (from memory).
    """
    model = to_pgmpy(network if tests is None else for_tests(network, tests))
    with _without_their_warning():
        from pgmpy.readwrite import BIFWriter
    return str(BIFWriter(model))


def to_xmlbif(network: Network, *, tests: Collection[str] | None = None) -> str:
    """Write the network as XMLBIF text.

    Parameters
    ----------
    network : Network
    tests : collection of str, optional
        Ids of the tests to keep; all when left out, which takes most of a minute.

    Returns
    -------
    str

    Raises
    ------
    EntryError
        If the network has no such test.

    Examples
    --------
    >>> coin = Node("coin", "component", ("heads", "tails"), (), np.array([0.5, 0.5]))
    >>> "<OUTCOME>tails</OUTCOME>" in to_xmlbif(Network({"coin": coin}))
    True
    """
    model = to_pgmpy(network if tests is None else for_tests(network, tests))
    with _without_their_warning():
        from pgmpy.readwrite import XMLBIFWriter
    return str(XMLBIFWriter(model))


def for_tests(network: Network, tests: Collection[str]) -> Network:
    """The part of a network that some tests need, with all components.

    Parameters
    ----------
    network : Network
    tests : collection of str
        Test ids.

    Returns
    -------
    Network
        Beliefs about components are the same as in the whole network, whatever these tests show.

    Raises
    ------
    EntryError
        If the network has no reading node of that test.
    """
    for test in tests:
        if f"reading_{test}" not in network.nodes:
            known = [n.name.removeprefix("reading_") for n in network.of_layer("reading")]
            raise EntryError("no such test in this network", got=repr(test), expected=", ".join(known))
    return ancestral(network, [f"reading_{test}" for test in tests])


def ancestral(network: Network, names: Collection[str]) -> Network:
    """Some nodes with all their ancestors, and all components; what is left out sums to one.

    Examples
    --------
    >>> one = np.array([[0.5, 0.2], [0.5, 0.8]])
    >>> part = Node("part", "component", ("sound", "bad"), (), one[:, 0])
    >>> nodes = [part, *(Node(n, "quantity", ("x", "y"), ("part",), one) for n in ("a", "b"))]
    >>> list(ancestral(Network({n.name: n for n in nodes}), ["b"]).nodes)
    ['part', 'b']
    """
    wanted, pending = set(network.components), list(names)
    while pending:
        name = pending.pop()
        if name not in wanted:
            wanted.add(name)
            pending += network.nodes[name].parents
    return replace(network, nodes={name: node for name, node in network.nodes.items() if name in wanted})


def with_seen(network: Network, seen: Sequence[Seen]) -> Network:
    """Readings as binary nodes ``seen_1``, ``seen_2`` ... below their quantities.

    Parameters
    ----------
    network : Network
    seen : sequence of readings

    Returns
    -------
    Network

    Notes
    -----
    P(yes | quantity) is the likelihood times :func:`seen_scale`; under a fault the model does not know it is the
    background one times the same. Given all of them ``yes``, beliefs are those after the readings (Pearl's virtual
    evidence).

    References
    ----------
    J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, section 2.2.2 (from memory).
    """
    nodes = dict(network.nodes)
    for number, reading in enumerate(seen, start=1):
        node = _seen_node(network, f"seen_{number}", reading)
        nodes[node.name] = node
    return replace(network, nodes=nodes)


def _seen_node(network: Network, name: str, reading: Seen) -> Node:
    yes = np.asarray(reading.likelihood, dtype=np.float64) * seen_scale(reading)
    if UNLISTED not in network.nodes:
        return Node(name, "reading", YES_NO, (reading.quantity,), np.stack([yes, 1.0 - yes]))
    strangers = network.nodes[UNLISTED].card - 1
    background = np.full((len(yes), strangers), reading.background * seen_scale(reading))
    both = np.concatenate([yes[:, None], background], axis=1)
    return Node(name, "reading", YES_NO, (reading.quantity, UNLISTED), np.stack([both, 1.0 - both]))


def seen_scale(reading: Seen) -> float:
    """What a reading's likelihoods are multiplied by so that the largest becomes one half [-]."""
    return 0.5 / max(float(np.max(reading.likelihood)), reading.background)


def with_brought_in(network: Network, when_sound: float) -> Network:
    """Add the node ``brought_in``: every car with a fault is, one with nothing wrong seldom.

    Parameters
    ----------
    network : Network
    when_sound : float
        Chance that a car with nothing wrong is brought in, relative to one with a fault [-].

    Returns
    -------
    Network
        With a chain of nodes ``fault_among_1``, ``fault_among_2`` ... that say whether one of the first so many
        components is at fault, which keeps tables small.
    """
    nodes = dict(network.nodes)
    before: Node | None = None
    for number, component in enumerate(network.components, start=1):
        before = _fault_node(f"fault_among_{number}", before, network.nodes[component])
        nodes[before.name] = before
    above = () if before is None else (before.name,)
    table = np.array([[1.0, when_sound], [0.0, 1.0 - when_sound]])
    nodes[BROUGHT_IN] = Node(BROUGHT_IN, "reading", YES_NO, above, table if above else table[:, 1])
    return replace(network, nodes=nodes)


def _fault_node(name: str, before: Node | None, component: Node) -> Node:
    """Whether there was a fault before or this component is in one."""
    own = (np.arange(component.card) > 0).astype(np.float64)
    if before is None:
        return Node(name, "state", YES_NO, (component.name,), np.stack([own, 1.0 - own]))
    either = np.stack([np.ones_like(own), own])
    return Node(name, "state", YES_NO, (before.name, component.name), np.stack([either, 1.0 - either]))


def unrolled(networks: Sequence[Network], mended: Sequence[Collection[str]] | None = None) -> Network:
    """Put the networks of several visits side by side: components are shared, the rest belongs to its visit.

    Parameters
    ----------
    networks : sequence of Network
        One for each visit, of one car.
    mended : sequence of collection of str, optional
        For each visit the components made sound before it: what depends on them in that visit depends on the sound
        mode.

    Returns
    -------
    Network
        Nodes other than components are named by :func:`in_visit`.

    Raises
    ------
    CaseError
        If the visits are not of one car: their components differ.

    Examples
    --------
    >>> part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    >>> volts = Node("volts", "quantity", ("low", "high"), ("part",), np.array([[0.1, 0.7], [0.9, 0.3]]))
    >>> one = Network({"part": part, "volts": volts})
    >>> both = unrolled([one, one], mended=[(), ("part",)])
    >>> list(both.nodes), both.nodes["volts_visit_2"].parents
    (['part', 'volts_visit_1', 'volts_visit_2'], ())
    """
    nodes: dict[str, Node] = {}
    for number, network in enumerate(networks, start=1):
        sound = frozenset() if mended is None else frozenset(mended[number - 1])
        for node in network.nodes.values():
            if node.layer == "component":
                _agree(nodes.setdefault(node.name, node) if number == 1 else nodes.get(node.name), node)
            else:
                own = _in_visit(fixed_sound(node, sound), network, number)
                nodes[own.name] = own
    return Network(nodes)


def _agree(first: Node | None, later: Node) -> None:
    """Refuse visits that do not share their components."""
    if first is None or first.axes != later.axes or not np.array_equal(first.table, later.table):
        raise CaseError("these visits are not of one car: their priors differ", where=later.name)


def in_visit(name: str, number: int) -> str:
    """Name of a node in the first, second ... of several visits.

    Examples
    --------
    >>> in_visit("charge", 2)
    'charge_visit_2'
    """
    return f"{name}_visit_{number}"


def _in_visit(node: Node, network: Network, number: int) -> Node:
    parents = tuple(p if network.nodes[p].layer == "component" else in_visit(p, number) for p in node.parents)
    return replace(node, name=in_visit(node.name, number), parents=parents)


def fixed_sound(node: Node, components: Collection[str]) -> Node:
    """A node that depends on the sound mode of some of its parents instead of on the parents.

    Parameters
    ----------
    node : Node
    components : collection of str
        Those that are no parents of the node change nothing.

    Examples
    --------
    >>> table = np.array([[0.1, 0.7], [0.9, 0.3]])
    >>> fixed_sound(Node("volts", "quantity", ("low", "high"), ("part",), table), ("part",)).table
    array([0.1, 0.9])
    """
    index = tuple(0 if axis in components and axis != node.name else slice(None) for axis in node.axes)
    parents = tuple(p for p in node.parents if p not in components)
    return replace(node, parents=parents, table=node.table[index])
