"""Tags and filters of the templates of the fleet."""
