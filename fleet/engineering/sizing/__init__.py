"""How large a unit must be, and what a quotation should contain."""
