"""The demo command's own parts: its company remembered, removed and loaded, its chain run, its report on the screen."""
