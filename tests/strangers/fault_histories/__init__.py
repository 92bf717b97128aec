"""Histories of small units, with and without a fault, by somebody who knows the trade and not the rules of diagnosis.

Each history is a unit as it would be entered, a log as its people keep it, the cartridges that were changed, what was
seen by eye, and the truth: what went wrong, since when, and from which day on a good technician could know. `every.py`
makes them all; `python -m tests.strangers.fault_histories --out FOLDER` writes them down to be looked at.

Water and salt transport, filters, resin and carbon are simple physics chosen for this purpose; their coefficients are
common practice or from memory, with no source, unless a source stands beside them.
"""
