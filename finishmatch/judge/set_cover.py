"""Fewest sets that cover everything, as a linear and as an integer programme (solver: HiGHS)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from finishmatch.arrays import Array

if TYPE_CHECKING:
    import highspy


_NODE_LIMIT = 200


def relaxed_cover(sets: Sequence[Sequence[int]], elements: int) -> tuple[float, Array]:
    """The least sum of shares, from 0 to 1 of each set, that cover every element once, which no cover has fewer sets
    than; and each set's reduced cost: what the sum rises by at least where that set is taken.
    """
    solver = _solver(sets, elements)
    solver.run()
    return float(solver.getInfo().objective_function_value), np.maximum(np.array(solver.getSolution().col_dual), 0)


def cover_of(sets: Sequence[Sequence[int]], elements: int, most: int) -> tuple[list[int] | None, bool]:
    """A cover by ``most`` sets or fewer, as their indices; None if none was found, and whether that is proven."""
    import highspy

    solver = _solver(sets, elements)
    columns = np.arange(len(sets), dtype=np.int32)
    solver.addRow(0, most, len(sets), columns, np.ones(len(sets)))
    solver.changeColsIntegrality(len(sets), columns, np.full(len(sets), highspy.HighsVarType.kInteger))
    solver.setOptionValue("presolve", "off")
    solver.setOptionValue("mip_max_nodes", _NODE_LIMIT)
    solver.run()
    taken = np.array(solver.getSolution().col_value)
    if solver.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible:
        return np.flatnonzero(taken > 0.5).tolist(), True
    return None, solver.getModelStatus() == highspy.HighsModelStatus.kInfeasible


def _solver(sets: Sequence[Sequence[int]], elements: int) -> highspy.Highs:
    """Every set once at most, every element once at least; the number of sets is to be least."""
    import highspy

    programme = highspy.HighsLp()
    programme.num_col_, programme.num_row_ = len(sets), elements
    programme.col_cost_ = programme.col_upper_ = np.ones(len(sets))
    programme.col_lower_ = np.zeros(len(sets))
    programme.row_lower_, programme.row_upper_ = np.ones(elements), np.full(elements, highspy.kHighsInf)
    programme.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    programme.a_matrix_.start_ = np.cumsum([0, *map(len, sets)])
    programme.a_matrix_.index_ = np.concatenate([np.array(members) for members in sets])
    programme.a_matrix_.value_ = np.ones(sum(map(len, sets)))
    solver: highspy.Highs = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.setOptionValue("output_flag", False)
    solver.passModel(programme)
    return solver
