"""A code to scan (ISO/IEC 18004) that leads to an address, drawn as SVG."""

from functools import lru_cache

import segno
from markupsafe import Markup

QUIET_MODULES = 4
"""Empty modules around the code [count]; ISO/IEC 18004 asks for four. From memory."""

ERROR_LEVEL = "m"
"""About 15 % of the code may be soiled (ISO/IEC 18004, level M). From memory."""


@lru_cache(maxsize=256)
def code_svg(address: str) -> Markup:
    """Return the drawing of a code; black on white whatever the page's colours.

    It has attributes only and no style, so that the content security policy holds.
    """
    code = segno.make(address, error=ERROR_LEVEL, micro=False, boost_error=False)
    drawn = code.svg_inline(
        border=QUIET_MODULES,
        dark="#000",
        light="#fff",
        svgclass="scan",
        lineclass=None,
        omitsize=True,
    )
    # Made of numbers alone: the address is in its modules, not in its text.
    return Markup(drawn)  # noqa: S704
