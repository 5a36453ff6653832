"""What published figures say of fade, where nothing better is known."""

PUBLISHED_FADE_PER_MONTH = 0.0085
"""Typical fade of a laptop pack [fraction of design a month].

300 to 500 cycles to 80 % of design (makers' usual figure) at about 200 cycles a year
is 8 to 13 % a year; the lower half, as many packs stay on mains.
"""

PUBLISHED_SLOW_PER_MONTH = 0.20 / 500 * 200 / 12
"""The slow end of that: 500 cycles to 80 % [fraction of design a month]."""

PUBLISHED_FAST_PER_MONTH = 0.20 / 300 * 200 / 12
"""The fast end of that: 300 cycles to 80 % [fraction of design a month]."""

DAYS_PER_MONTH = 30.4375
"""A twelfth of the mean Julian year of 365.25 days [d]."""
