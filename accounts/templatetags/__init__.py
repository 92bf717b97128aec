"""Tags of the templates of every room."""
