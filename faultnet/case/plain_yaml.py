"""A YAML loader for people: JSON's numbers and booleans, each field once, no anchors, no tags."""

from __future__ import annotations

import re
from typing import Any

import yaml

_NUMBER = r"-?(?:0|[1-9][0-9]*)"


class PlainLoader(yaml.SafeLoader):
    """:class:`yaml.SafeLoader` without its surprises."""

    def compose_node(self, parent: Any, index: Any) -> Any:
        """Refuse references, by which a small file can unfold into a huge one.

        Raises
        ------
        yaml.constructor.ConstructorError
            If there is one.
        """
        event: Any = self.peek_event()  # type: ignore[no-untyped-call]  # the stubs leave it out
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise yaml.constructor.ConstructorError(None, None, "an anchor or reference", event.start_mark)
        return super().compose_node(parent, index)

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        """Refuse a field that appears twice or whose name is not text.

        Raises
        ------
        yaml.constructor.ConstructorError
            If there is one.
        """
        seen = set()
        for name, _ in node.value:
            if name.tag != "tag:yaml.org,2002:str":
                raise yaml.constructor.ConstructorError(None, None, "a field name that is not text", name.start_mark)
            if name.value in seen:
                raise yaml.constructor.ConstructorError(None, None, "a field that appears twice", name.start_mark)
            seen.add(name.value)
        return super().construct_mapping(node, deep=deep)

    def construct_number(self, node: Any) -> int | float:
        """Read a decimal number."""
        return int(node.value) if re.fullmatch(_NUMBER, node.value) else float(node.value)

    def refuse_tag(self, node: Any) -> Any:
        """Refuse anything marked with a tag.

        Raises
        ------
        yaml.constructor.ConstructorError
            Always.
        """
        raise yaml.constructor.ConstructorError(None, None, f"the tag {node.tag}", node.start_mark)


def _teach() -> None:
    """Tell the loader which plain words are more than text."""
    PlainLoader.yaml_implicit_resolvers = {}
    PlainLoader.yaml_constructors = {
        f"tag:yaml.org,2002:{kind}": yaml.SafeLoader.yaml_constructors[f"tag:yaml.org,2002:{kind}"]
        for kind in ("null", "bool", "str", "seq", "map")
    }
    PlainLoader.add_constructor("tag:yaml.org,2002:float", PlainLoader.construct_number)
    PlainLoader.add_constructor(None, PlainLoader.refuse_tag)
    for kind, pattern, first in (
        ("null", r"null|~|", ["n", "~", ""]),
        ("bool", r"true|false", ["t", "f"]),
        ("float", rf"{_NUMBER}(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?", list("-0123456789")),
    ):
        PlainLoader.add_implicit_resolver(f"tag:yaml.org,2002:{kind}", re.compile(rf"^(?:{pattern})$"), first)


_teach()
