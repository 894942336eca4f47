"""The look of driven runs: colours of road and wheels, and the second sign of each wheel's state.

Front and rear keep the colours they have everywhere; a wheel's state is told by shade and by sign:
rolling empty, near the limit one bar across, sliding stripes, locked a cross.
"""

from __future__ import annotations

from typing import Final

from foreaft.report import style

LIGHT: Final[dict[str, str]] = style.LIGHT | {
    "verge": "#f2f1ea",
    "road": "#d9dcdd",
    "edge": "#7d878e",
    "wheel0": "#ffffff",
    "wheel1": "#ffd94d",
    "wheel2": "#a2458f",
    "wheel3": "#14202b",
    "sign1": "#14202b",
    "sign2": "#ffffff",
    "sign3": "#ffffff",
    "body": "#f7f8f8",
}

DARK: Final[dict[str, str]] = style.DARK | {
    "verge": "#161d22",
    "road": "#333d45",
    "edge": "#8b969e",
    "wheel0": "#11171c",
    "wheel1": "#e6bb2e",
    "wheel2": "#d98cc8",
    "wheel3": "#f1f3f1",
    "sign1": "#11171c",
    "sign2": "#11171c",
    "sign3": "#11171c",
    "body": "#222b32",
}

STATE_WORDS: Final = ("rolling", "near the limit", "sliding", "locked")
"""In the order of the states of foreaft.drive.trace."""
STATE_SHORT: Final = ("", "near", "sliding", "locked")
"""Beside a wheel, where there is little room; nothing is said of one that rolls."""
AXLE_ROLES: Final = ("front", "front", "rear", "rear")
"""Colour of each wheel's axle, in the order of WHEELS."""

FOLLOW_HEIGHT_M: Final = 36.0
"""Height of the view that follows the car."""
FOLLOW_PLACE_FRAC: Final = 0.7
"""Where the car stands in it, from the top."""
CLOSE_FRAC: Final = 0.4
"""Share of a panel's width for the car close up."""
CLOSE_MOST_PX: Final = 190.0
CAR_LENGTH_FRAC: Final = 0.4
CAR_MIDDLE_FRAC: Final = 0.51
"""Length and place of the car close up, over the height of the panel."""
CAR_LENGTH_ALONE_FRAC: Final = 0.56
"""Its length where no bars stand with it."""
WHEEL_ENLARGED: Final = 1.5
"""Wheels of the close-up are drawn this much larger than they are, so that their signs show."""
SMALLEST_CAR_PX: Final = 24.0
"""A car would be lost in the whole view at its true size; it is drawn at least this long there."""
PUSH_PX: Final = 20.0
"""Length of an arrow of a quarter of the car's weight."""


def variables(colours: dict[str, str]) -> str:
    """Write the colours as variables of a style sheet."""
    return "".join(f"--{role}:{colour};" for role, colour in colours.items())
