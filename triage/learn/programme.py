"""A linear programme that is solved again and again, each time from where the last one ended."""

import highspy
import numpy as np
from highspy import HighsModelStatus
from numpy.typing import NDArray
from scipy import sparse

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class _Solver(highspy.Highs):
    """The solver without its callbacks: setting them up writes a line to stdout."""

    def enableCallbacks(self) -> None:  # noqa: N802
        """Enable none."""


class Programme:
    """Rows of fixed sums, under costs and bounds of the unknowns that change.

    The first solution is found from nothing; each further one starts from the basis of the last,
    which is most of the way there where little has changed. The same solves in the same order
    give the same answers.
    """

    def __init__(self, sums: sparse.csc_array, exact: Flags) -> None:
        """Take the rows: they add up to 0 where `exact`, else to 0 or less."""
        self._solver = _Solver()  # type: ignore[no-untyped-call]
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("parallel", "off")
        rows, columns = sums.shape
        self._columns = np.arange(columns, dtype=np.int32)
        model = highspy.HighsLp()
        model.num_row_, model.num_col_ = rows, columns
        model.col_cost_ = model.col_lower_ = model.col_upper_ = np.zeros(columns)
        model.row_lower_ = np.where(exact, 0.0, -highspy.kHighsInf)
        model.row_upper_ = np.zeros(rows)
        model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        model.a_matrix_.start_ = sums.indptr
        model.a_matrix_.index_ = sums.indices
        model.a_matrix_.value_ = sums.data
        self._solver.passModel(model)

    def solve(self, cost: Floats, low: Floats, high: Floats) -> Floats | None:
        """Unknowns within their bounds at the least cost; None if nothing lies within them.

        Raises
        ------
        RuntimeError
            If the solver cannot say.
        """
        solver, columns = self._solver, self._columns
        solver.changeColsCost(columns.size, columns, cost)
        solver.changeColsBounds(columns.size, columns, low, high)
        solver.run()
        status = solver.getModelStatus()
        if status != HighsModelStatus.kOptimal:
            # Only an answer from nothing is believed when it says that there is none.
            solver.clearSolver()
            solver.run()
            status = solver.getModelStatus()
        if status == HighsModelStatus.kOptimal:
            return np.array(solver.getSolution().col_value)
        if status == HighsModelStatus.kInfeasible:
            return None
        words = solver.modelStatusToString(status)
        raise RuntimeError(f"the linear programme of suppression failed: {words}")
