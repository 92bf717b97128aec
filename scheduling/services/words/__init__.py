"""What the office, the installers and the plans are told by the services, in the language in use."""
