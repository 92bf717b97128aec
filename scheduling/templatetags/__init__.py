"""Tags of the templates of this room."""
