"""Service diaries of small units, sound and faulty, by somebody who looks after such units and has not read the rules.

A second hand than `tests/strangers/fault_histories`, with other parts, other people, other water and physics of its
own. A history has the same shape as there (`records.History`), so that the same study can send it; `every.py` makes
them all from a seed. What a fault must show in its own diary stands in `signs.py`: a history that does not show it is
drawn again.

Coefficients are common practice or from memory, with no source, unless a source stands beside them.
"""
