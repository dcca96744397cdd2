"""Built networks kept on disk, found again by what they were built from.

A network is a pure function of the car, the conditions, the prior set and the code that builds it. The key is a hash
of all of those; the file is one flat array that is mapped into memory and a small description beside it, so reading
one costs milliseconds. A damaged or unwritable cache only costs time.

The description begins with a seal over both, and nothing is read before it holds. A file that another user could change
after that is not mapped but copied.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import BinaryIO

import numpy as np

from faultnet import __version__
from faultnet.cache import cache_folder, code_hash, is_own, keep_file, open_kept, seal
from faultnet.model.network import Array, Network, Node
from faultnet.model.setting import Setting

KEPT = 24
FORMAT = 4
CODE = ("model", "physics", "instruments.py")


def network_for(setting: Setting) -> Network:
    """The network of a setting: from disk, or built and then kept."""
    path = cache_folder() / f"{setting_key(setting)}.bin"
    network = _read(path)
    if network is None:
        from faultnet.model.build import build_network

        flat, nodes = _packed(build_network(setting))
        _write(path, flat, nodes)
        # Mapped from the file, its pages are shared and need not stay in memory; else it lies in memory in the same
        # way, so that products add up in the same order, to the same last bit.
        network = _read(path) or _network(flat, nodes)
    return network


def setting_key(setting: Setting) -> str:
    """What a setting's network depends on, as one short hash."""
    car = {k: v for k, v in asdict(setting.car).items() if k != "label"}
    told = {"format": FORMAT, "version": __version__, "car": car, "conditions": asdict(setting.conditions)}
    text = json.dumps(told, sort_keys=True) + setting.catalogue.fingerprint + code_hash(*CODE)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _packed(network: Network) -> tuple[Array, bytes]:
    """All numbers of a network in one array, and its description."""
    described, offset = [], 0
    for node in network.nodes.values():
        described.append({k: getattr(node, k) for k in ("name", "layer", "states", "parents", "edges", "scatter")})
        described[-1] |= {"shape": node.table.shape, "offset": offset}
        offset += node.table.size
    flat = np.concatenate([n.table.ravel() for n in network.nodes.values()])
    sound = {name: shares.tolist() for name, shares in network.sound.items()}
    return flat, json.dumps({"nodes": described, "sound": sound}).encode()


def _write(path: Path, flat: Array, nodes: bytes) -> None:
    data = flat.tobytes()
    kept = f"{seal(path.stem, data, nodes)}\n".encode() + nodes
    if keep_file(path, data) and keep_file(path.with_suffix(".json"), kept):
        _forget_old(path.parent)


def _forget_old(folder: Path) -> None:
    newest_first = sorted(folder.glob("*.bin"), key=_changed, reverse=True)
    for path in newest_first[KEPT:]:
        for other in (path, path.with_suffix(".json")):
            with suppress(OSError):  # a folder that somebody put there
                other.unlink(missing_ok=True)


def _changed(path: Path) -> float:
    """When a file was changed; long ago, if another process has just removed it."""
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def _read(path: Path) -> Network | None:
    try:
        with open_kept(path) as file:
            flat = _numbers(file)
        with open_kept(path.with_suffix(".json")) as file:
            sealed, _, nodes = file.read().partition(b"\n")
        if not hmac.compare_digest(sealed, seal(path.stem, flat.data, nodes).encode()):
            return None
        return _network(flat, nodes)
    except (OSError, ValueError):
        return None


def _numbers(file: BinaryIO) -> Array:
    """The numbers of a file: as they lie in it, where nobody can change them any more, else as they are now."""
    if is_own(file.fileno()):
        return np.memmap(file, dtype=np.float64, mode="r")
    return np.fromfile(file, dtype=np.float64)


def _network(flat: Array, described: bytes) -> Network:
    """A network from its numbers and its description; both are our own."""
    told, nodes = json.loads(described), {}
    for d in told["nodes"]:
        shape = tuple(d["shape"])
        table = np.asarray(flat[d["offset"] : d["offset"] + int(np.prod(shape))]).reshape(shape)
        states, parents, edges = (tuple(d[k]) for k in ("states", "parents", "edges"))
        nodes[d["name"]] = Node(d["name"], d["layer"], states, parents, table, edges, float(d["scatter"]))
    sound = {name: np.array(shares) for name, shares in told["sound"].items()}
    network = Network(nodes, sound, flat if isinstance(flat, np.memmap) else None)
    network.let_go()  # everything was only read for its seal so far
    return network
