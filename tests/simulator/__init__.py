"""A simulated fleet with its own physics and its own noise: the ground truth for tests of forecasts. All of it
invented."""
