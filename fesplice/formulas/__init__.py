"""Formulas that several rooms share, on plain numbers: no specimen, no mesh, no units but N, mm, MPa.

``bond`` the numbers of fib Model Code 2010 for bond and splitting, ``laps`` which bars lap with which and what
lies between them, ``steel`` the stress-strain curve of bars, ``section`` a section in bending. Each stands here once;
clauses, laws, planes, hand checks and the validation series call it.
"""
