"""Loaded by every Python process of a measured checkout, which finds the product where it is started and nowhere else.

Where the product is installed as editable from one checkout, modules that another one lacks would be taken from there.
"""

import sys

sys.meta_path[:] = [
    finder for finder in sys.meta_path if not getattr(finder, "__module__", "").startswith("__editable__")
]
