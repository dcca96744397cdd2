"""How much code there is: ``python tests/bench/size.py`` counts lines and functions of the library and of the pages.

Lines of code are those left without blank lines, comments and docstrings. A function has one caller if its name stands
once in all of it beside its own definition, tests not counted.
"""

from __future__ import annotations

import ast
import tokenize
from collections import Counter
from pathlib import Path

TOP = Path(__file__).parents[2]
WITHOUT_CODE = (tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER)
Function = ast.FunctionDef | ast.AsyncFunctionDef


def lines_of_code(path: Path, tree: ast.Module) -> int:
    """Lines with code on them."""
    with path.open("rb") as file:
        tokens = [t for t in tokenize.tokenize(file.readline) if t.type not in WITHOUT_CODE and t.string != "utf-8"]
    lines = {line for t in tokens for line in range(t.start[0], t.end[0] + 1)}
    texts = [n for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)]
    return len(lines - {line for n in texts for line in range(n.lineno, (n.end_lineno or n.lineno) + 1)})


def main() -> None:
    """Print a row for each folder, and one for both."""
    files = {folder: sorted((TOP / folder).rglob("*.py")) for folder in ("faultnet", "ui")}
    trees = {p: ast.parse(p.read_text(encoding="utf-8")) for paths in files.values() for p in paths}
    nodes = [n for tree in trees.values() for n in ast.walk(tree)]
    used = Counter(
        n.id if isinstance(n, ast.Name) else n.attr for n in nodes if isinstance(n, ast.Name | ast.Attribute)
    )
    print(f"{'':10} {'files':>6} {'lines':>7} {'code':>7} {'functions':>10} {'one caller':>11}")
    for name, paths in {**files, "both": [p for some in files.values() for p in some]}.items():
        functions = [n.name for p in paths for n in ast.walk(trees[p]) if isinstance(n, Function)]
        lines = sum(len(p.read_text(encoding="utf-8").splitlines()) for p in paths)
        code = sum(lines_of_code(p, trees[p]) for p in paths)
        single = sum(used[f] == 1 for f in functions)
        print(f"{name:10} {len(paths):>6} {lines:>7,} {code:>7,} {len(functions):>10,} {single:>11,}")


if __name__ == "__main__":
    main()
