"""The fonts of printed documents, embedded so that every reader sees the same page."""

from functools import cache
from pathlib import Path

import matplotlib
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily
from reportlab.pdfbase.ttfonts import TTFont

BODY, BOLD, SLANTED = "DejaVuSans", "DejaVuSans-Bold", "DejaVuSans-Oblique"


@cache
def register_fonts() -> None:
    """Make the fonts known that matplotlib brings."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (BODY, BOLD, SLANTED):
        registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    registerFontFamily(BODY, normal=BODY, bold=BOLD, italic=SLANTED, boldItalic=BOLD)
