"""Writes of the fleet room: verbs, keyword-only, with the acting membership and the clock passed in."""
