"""Plants faults in copies of the pure rooms, one at a time, and counts which of them the tests notice."""
