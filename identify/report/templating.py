"""The templates beside this module."""

from __future__ import annotations

from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


@lru_cache(maxsize=4)
def template(name: str = "report.html.j2") -> Template:
    """One of the templates."""
    environment = Environment(
        loader=PackageLoader("identify.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)
