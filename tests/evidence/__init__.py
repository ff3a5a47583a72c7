"""Evidence: how the crew compares with published figures of human control.

`sh deploy/evidence` computes everything here and writes one page and one table.
"""
