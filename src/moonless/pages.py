"""The only place that makes a page of HTML: a template of the folder ``templates`` filled, every text escaped.

What is a string is text, whoever wrote it: a route's name, a boat's, a file's.  Only what a template marks ``safe``
goes in as it is, and that is our own drawing.
"""

from __future__ import annotations

import base64
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined


@cache
def _environment(package: str) -> Environment:
    return Environment(
        loader=PackageLoader(package),
        autoescape=True,
        undefined=StrictUndefined,  # a name that was not given is an error, never an empty place on the page
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def filled(package: str, template: str, **values: object) -> str:
    """Return the template ``template`` of the package ``package``, filled with ``values``.

    Raises jinja2.UndefinedError where the template asks for what was not given.
    """
    return _environment(package).get_template(template).render(values)


def png_url(png: bytes) -> str:
    """Return a PNG picture as an address that needs no other file."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
