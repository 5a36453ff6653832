"""Pure numbers: histories become levels, rates and forecasts."""
