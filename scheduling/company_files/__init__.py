"""A company as files: brought in from the sheets people keep, and taken out again as the same sheets."""
