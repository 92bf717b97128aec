"""Pages behind the links of letters: plain forms over the services, no rules of their own."""
