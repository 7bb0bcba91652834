"""Columns of a table of results that every study has, so that nothing varied may take their names."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fesplice.study.description import Factor

#: What a case is: column -> SQL type; then what a test gave, and the specimen.
HEAD = {
    "id": "TEXT PRIMARY KEY", "number": "INTEGER", "label": "TEXT", "source": "TEXT", "state": "TEXT",
    "reason": "TEXT", "sample": "INTEGER",
}  # fmt: skip
TAIL = {"measured_kN": "REAL", "measured_MPa": "REAL", "measured_mode": "TEXT", "specimen": "TEXT"}
#: Variables of descriptive equations, and hand values; a test holds them against what ``hand.py`` gives.
QUANTITIES = (
    "f_cm_MPa", "f_ct_MPa", "d_b_mm", "A_b_mm2", "l_s_mm", "l_s_over_d_b", "s_mm", "s_over_d_b", "cover_mm",
    "side_cover_mm", "A_th_over_n_mm2",
)  # fmt: skip
HAND = (
    "hand_first_crack_kN", "hand_yield_kN", "hand_stress_MPa", "hand_stress_row_MPa", "hand_load_kN", "hand_margin",
)  # fmt: skip
#: All of them; and what the columns of results of each view begin with.
COLUMNS = (*HEAD, *TAIL, *QUANTITIES, *HAND)
RESULTS = ("elevation", "plan", "prediction")


def clashing(factors: Sequence[Factor]) -> Iterator[tuple[str, str]]:
    """Names of lists that are columns already, whatever their case, and whose; names of two lists count too."""
    taken = {name.casefold(): "a column of the results" for name in COLUMNS}
    for factor in factors:
        taken |= {k.column.casefold(): f"the column of {k.path}" for k in factor.keys}
    for factor in factors:
        if len(factor.keys) == 1 and factor.name == factor.keys[0].column:
            continue  # a single key, whose column it is
        name = factor.name.casefold()
        of = taken.get(name)
        if of is None and name.startswith(tuple(f"{view}_" for view in RESULTS)):
            of = "a column of a view's results"
        if of is not None:
            yield factor.name, of
        taken[name] = "the name of other lists"
