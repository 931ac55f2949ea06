"""Contrast of colours as WCAG 2.2 defines it, and the colours of the style sheet."""

import re
from pathlib import Path

from django.contrib.staticfiles import finders


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb`` (WCAG 2.2, definitions)."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def style_sheet() -> str:
    return Path(finders.find("pages/samespool.css")).read_text()


def colours(theme: str) -> dict[str, str]:
    """The style sheet's colours by name; the dark theme overrides some of the light one's."""
    light, dark = re.findall(r":root \{(.*?)\}", style_sheet(), re.DOTALL)[:2]
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light))
    if theme == "dark":
        found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", dark))
    return found


def grounds(theme: str) -> tuple[str, str]:
    found = colours(theme)
    return found["ground"], found["raised"]
