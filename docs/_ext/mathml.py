"""Equations as MathML, which browsers draw by themselves: no script, nothing fetched."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.application import Sphinx


def _inline(writer: Any, node: nodes.math) -> None:
    writer.body.append(tex2mathml(node.astext(), as_block=False))
    raise nodes.SkipNode


def _block(writer: Any, node: nodes.math_block) -> None:
    equation = tex2mathml(node.astext(), as_block=True)
    writer.body.append(f'<div class="equation">{equation}</div>\n')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the renderer."""
    app.add_html_math_renderer("mathml", (_inline, None), (_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
