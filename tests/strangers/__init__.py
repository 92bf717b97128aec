"""Fleets by people who have not read the forecasts: each file knows the columns of fleet files and the trade alone."""
