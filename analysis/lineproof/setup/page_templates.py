"""Fills the page templates of this room; every value is escaped, and nothing is loaded from elsewhere."""

from __future__ import annotations

from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined

CAUTIONS = (
    "Work on a closed road only, seen and with somebody who looks out. The road authority and the race's safety plan decide.",
    "Mats and cables are trip hazards: flat, taped or covered, and marked.",
    (
        "Mains outdoors needs residual-current protection and weatherproof enclosures; in rain a competent person. Follow local "
        "codes and licensed practice."
    ),
    "Stop in a thunderstorm; nobody holds a cable then. Lift mats and batteries with two people.",
)


def _source(name: str) -> str:
    return (files("lineproof") / "setup" / "pages" / name).read_text(encoding="utf-8")


def fill_page(name: str, **values: object) -> str:
    """The page ``name`` with its values."""
    environment = Environment(
        loader=FunctionLoader(_source),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(**values)
