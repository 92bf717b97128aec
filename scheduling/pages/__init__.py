"""Pages for people without an account: plain forms over the services, no rules of their own."""
