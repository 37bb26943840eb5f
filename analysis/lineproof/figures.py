"""Charts and tables as HTML that needs nothing else: no script, no network, no style sheet.

A chart is drawn once as SVG with its caption and a description for those who cannot see it; its
definition lies beside it, so that a page that carries a script can make it answer the pointer.
Every text is escaped: names in the data may hold anything.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import altair as alt
import jinja2
import polars as pl
import vl_convert

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Fragment:
    """A piece of a page.  ``title`` names the whole page where the piece is its heading."""

    html: str
    title: str = ""

    def _repr_mimebundle_(self, **_: object) -> tuple[dict[str, str], dict[str, Any]]:
        return {"text/html": self.html}, {"lineproof": {"title": self.title}} if self.title else {}


@dataclass(frozen=True, slots=True)
class Head:
    """One column of a shown table: its heading, what a row says in it, and its style.

    Styles: ``number`` (right-aligned), ``brief`` (never broken), ``wide`` and ``place`` (given room), or none.
    """

    label: str
    say: Callable[[Row], str]
    style: str = ""


def number(label: str, say: Callable[[Row], str]) -> Head:
    return Head(label, say, "number")


@cache
def _pages() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("lineproof", "report_page"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def show_table(frame: pl.DataFrame, heads: Iterable[Head], caption: str, empty: str = "") -> Fragment:
    """A table with a caption; its first column heads the rows.  ``empty`` is said where there are no rows."""
    if frame.is_empty():
        return show_text([empty or f"{caption}: nothing to show."])
    heads = tuple(heads)
    rows = [[head.say(row) for head in heads] for row in frame.iter_rows(named=True)]
    return Fragment(_pages().get_template("table.html.j2").render(heads=heads, rows=rows, caption=caption))


def show_text(sentences: Iterable[str], kind: str = "") -> Fragment:
    """Paragraphs, one for each sentence given; ``kind`` is the class that the page's style knows."""
    mark = f' class="{html.escape(kind)}"' if kind else ""
    return Fragment("\n".join(f"<p{mark}>{html.escape(sentence)}</p>" for sentence in sentences if sentence))


def show_list(sentences: Iterable[str], kind: str = "") -> Fragment:
    """A bulleted list."""
    mark = f' class="{html.escape(kind)}"' if kind else ""
    items = "\n".join(f"<li>{html.escape(sentence)}</li>" for sentence in sentences)
    return Fragment(f"<ul{mark}>\n{items}\n</ul>")


def show_chart(spec: Mapping[str, Any]) -> str:
    """A Vega-Lite definition as a figure: title, static SVG, caption, description, and the definition itself.

    The title is set as text, so that it wraps on a narrow screen.  The caption is ``usermeta.caption`` and the description is ``description`` of the definition.
    """
    plain = dict(spec)
    title = plain.pop("title", "")
    drawing = vl_convert.vegalite_to_svg(plain, vl_version=_language())
    stored = json.dumps(plain, separators=(",", ":"), ensure_ascii=False)
    return (
        _pages()
        .get_template("figure.html.j2")
        .render(
            title=" ".join(title) if isinstance(title, list) else title,
            drawing=_own_ids(drawing).replace("<svg ", '<svg aria-hidden="true" ', 1),
            stored=stored.replace("<", "\\u003c"),
            caption=spec.get("usermeta", {}).get("caption", ""),
            description=spec.get("description", ""),
        )
    )


@dataclass(frozen=True, slots=True)
class NotebookScript:
    """A script for the notebook as it stands open; a page made from it brings its own."""

    script: str

    def _repr_mimebundle_(self, **_: object) -> tuple[dict[str, str], dict[str, Any]]:
        return {"text/html": f"<script>{self.script}</script>"}, {"lineproof": {"notebook": True}}


def use_figures() -> NotebookScript:
    """From now on this notebook shows every Altair chart as such a figure; what is returned makes tables sortable."""
    alt.renderers.register("lineproof", lambda spec, **_: {"text/html": show_chart(spec)})
    alt.renderers.enable("lineproof")
    return NotebookScript((files("lineproof") / "report_page" / "sort.js").read_text("utf-8"))


@cache
def _language() -> str:
    """Altair's version of Vega-Lite, as the drawing library counts it: major and minor."""
    return ".".join(alt.SCHEMA_VERSION.removeprefix("v").split(".")[:2])


_DRAWN = 0


def _own_ids(drawing: str) -> str:
    """Make the ids inside a drawing (clip paths, gradients) its own: two drawings share one page."""
    global _DRAWN
    _DRAWN += 1
    ids = set(re.findall(r'\bid="([^"]+)"', drawing))
    for word in sorted(ids, key=len, reverse=True):
        drawing = drawing.replace(f'id="{word}"', f'id="f{_DRAWN}-{word}"')
        drawing = drawing.replace(f"url(#{word})", f"url(#f{_DRAWN}-{word})")
        drawing = drawing.replace(f'href="#{word}"', f'href="#f{_DRAWN}-{word}"')
    return drawing
