"""A real browser on a live server; skipped, and said once, where there is no Chromium (`CHROMIUM=` or on PATH)."""
