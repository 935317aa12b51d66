"""Charts as files: the same pictures as on the screen, drawn without a browser and without any request."""

from __future__ import annotations

import json
from typing import Any

from dashboard import theme
from dashboard.charts.picture import IS_NARROW, Picture

# Black on white: what differs does so by shape, dash or lightness, so that it survives a copying machine.
PRINT = theme.Palette(
    name="print",
    paper="#FFFFFF",
    panel="#E4E4E4",
    ink="#000000",
    quiet="#333333",
    line="#C4C4C4",
    main="#1E1E1E",
    other="#5A5A5A",
    aside="#6E6E6E",
    alert="#000000",
)
# The face that comes with the typesetter, so that the charts look the same on every machine.
FONT = "Libertinus Serif"
WIDTH = 680
PNG_SCALE = 2.0
# Half a page and less.
NARROW = 480


def spec(
    picture: Picture, width: int = WIDTH, height: int | None = None, font: str | None = None, is_phone: bool = False
) -> str:
    """The chart's description, as JSON, with a width of its own in pixels.

    height: of the drawing; None = as on the screen. is_phone: in the form a chart has on a narrow page.
    """
    told = picture.chart.to_dict()
    told["width"] = width
    if height is not None:
        told["height"] = height
    # The width is that of the whole picture, axis and legend included, as on the page.
    told["autosize"] = {"type": "fit-x", "contains": "padding"}
    # An expression of the page's width; here the width is known.
    told["config"]["legend"]["columns"] = 1 if width < NARROW else 0
    if width < NARROW:
        # A title longer than its axis would push the drawing out of its place.
        told["config"]["axis"] |= {"titleFontSize": 10.5, "titlePadding": 5}
    # Days in the data are told as text; the chart reads them so.
    text = json.dumps(_in_font(told, font) if font else told, default=str)
    return text.replace(IS_NARROW, "true") if is_phone else text


def svg(
    picture: Picture, width: int = WIDTH, height: int | None = None, font: str | None = None, is_phone: bool = False
) -> str:
    """The chart as SVG. width, height: pixels. is_phone: see spec. No outside address is ever asked."""
    import vl_convert

    told = spec(picture, width, height, font, is_phone)
    return vl_convert.vegalite_to_svg(told, vl_version=_version(), allowed_base_urls=[])


def png(picture: Picture, width: int = 1000, height: int | None = None) -> bytes:
    """The chart as PNG, two dots for each pixel asked for."""
    import vl_convert

    return vl_convert.vegalite_to_png(
        spec(picture, width, height), vl_version=_version(), scale=PNG_SCALE, allowed_base_urls=[]
    )


def _version() -> str:
    import altair

    return ".".join(altair.SCHEMA_VERSION.split(".")[:2])


def _in_font(told: Any, font: str) -> Any:
    """The description with every font named in it replaced."""
    if isinstance(told, dict):
        return {
            key: font if key.lower().endswith("font") and isinstance(value, str) else _in_font(value, font)
            for key, value in told.items()
        }
    return [_in_font(entry, font) for entry in told] if isinstance(told, list) else told
