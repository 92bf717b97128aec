"""Money that is written on paper: exact decimals, rounded where the paper says so, never floats."""
