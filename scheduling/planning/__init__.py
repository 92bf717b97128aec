"""Deciding what to do at which site, when, by whom and with which parts.

Pure functions over plain values and arrays: nothing in here knows the database, the clock or the network (the one
exception is the table-service travel provider, which is handed its address). Days are whole-number offsets from a
first day, times of day are seconds of the local wall clock, money inside the round solver is whole cents.
"""
