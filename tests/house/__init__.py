"""Figures of the house: modules, imports, names and sizes of a checkout.

`python -m house [CHECKOUT]` with `tests/` on the path prints them.
"""
