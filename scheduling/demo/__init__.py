"""The demo command's own parts: its company kept in mind, removed, loaded, its nightly run, its report on screen."""
