"""Colours and glyphs: every meaning has a glyph or a word of its own, and a colour besides.

The colours are those of Masataka Okabe and Kei Ito, "Color Universal Design" (2002, revised 2008), chosen to be told
apart with any kind of colour vision; the eighth of them, a blue, is too dark for text on black. A test holds apart
those that stand side by side.
"""

from typing import Final

from monitor.firing.records import Outcome
from monitor.flags import Severity

BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY_BLUE: Final = "#56B4E9"
BLUISH_GREEN: Final = "#009E73"
YELLOW: Final = "#F0E442"
VERMILLION: Final = "#D55E00"
REDDISH_PURPLE: Final = "#CC79A7"

INK: Final = "#F2F2F2"
QUIET: Final = "#A6A6A6"
PAGE: Final = "#1C1C1C"
"""The ground of a page that lies over the screen."""

ROLE_COLOUR: Final = {
    "supply": ORANGE,
    "battery": YELLOW,
    "ground": INK,
    "control": SKY_BLUE,
    "acknowledgement": BLUISH_GREEN,
    "current": REDDISH_PURPLE,
    "injector": YELLOW,
    "marker": INK,
}

OUTCOME_GLYPH: Final = {
    Outcome.ACKNOWLEDGED: "·",
    Outcome.UNACKNOWLEDGED: "X",
    Outcome.UNCOMMANDED: "O",
    Outcome.UNOBSERVED: "?",
}

OUTCOME_STYLE: Final = {
    Outcome.ACKNOWLEDGED: BLUISH_GREEN,
    Outcome.UNACKNOWLEDGED: f"bold {BLACK} on {VERMILLION}",
    Outcome.UNCOMMANDED: f"bold {BLACK} on {SKY_BLUE}",
    Outcome.UNOBSERVED: f"{QUIET}",
}

SEVERITY_GLYPH: Final = {Severity.FAULT: "X", Severity.WARNING: "!", Severity.INFO: "i"}

SEVERITY_STYLE: Final = {
    Severity.FAULT: f"bold {BLACK} on {VERMILLION}",
    Severity.WARNING: f"bold {YELLOW}",
    Severity.INFO: QUIET,
}
