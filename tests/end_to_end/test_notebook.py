"""The example for a notebook runs as it is written, and so does any copy of it in the documents."""

from __future__ import annotations

import ast
import re
import textwrap
from pathlib import Path

import plotly.graph_objects as go
import pytest

import dashboards
from tests.end_to_end.conftest import PLANT, ROOT


def examples() -> list[str]:
    """The example of the package, and every python block of the documents that draws with it."""
    own = textwrap.dedent((dashboards.__doc__ or "").split("In a notebook::")[1])
    blocks = [
        block
        for name in ("README.md", "DEVELOPERS.md")
        for block in re.findall(r"```python\n(.*?)```", (ROOT / name).read_text(encoding="utf-8"), re.S)
        if "from dashboards import" in block
    ]
    return [own, *blocks]


def shown(code: str, names: dict[str, object]) -> list[object]:
    """Run a cell line by line and give what a notebook would show: the value of every bare expression."""
    values = []
    for node in ast.parse(code).body:
        if isinstance(node, ast.Expr):
            values.append(eval(compile(ast.Expression(node.value), "<cell>", "eval"), names))
        else:
            exec(compile(ast.Module([node], []), "<cell>", "exec"), names)
    return values


@pytest.mark.slow
def test_the_example_runs_and_shows_figures(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(ROOT)
    assert PLANT.is_dir()
    for code in dict.fromkeys(examples()):
        figures = [value for value in shown(code, {}) if isinstance(value, go.Figure)]
        assert len(figures) >= 2
        for figure in figures:
            assert sum(len(trace.x) for trace in figure.data if trace.x is not None) > 10
            assert "plotly-graph-div" in figure.to_html(
                include_plotlyjs=False
            )  # what a notebook puts in its cell
            assert "@" not in figure.to_json()  # every ink has become a colour
