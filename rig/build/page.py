"""The build sheet as HTML: one file, nothing from elsewhere, made for paper."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined

from rig.build.content import Sheet, as_data


def html_of(sheet: Sheet) -> str:
    """Give the sheet as HTML; drawings are our own SVG, all else is escaped."""
    pages = Environment(
        loader=PackageLoader("rig.build", ""), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return pages.get_template("sheet.html").render(as_data(sheet))
