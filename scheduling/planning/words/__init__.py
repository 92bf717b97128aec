"""What planning says to people: clauses and sentences from facts, spoken in the language in use."""
