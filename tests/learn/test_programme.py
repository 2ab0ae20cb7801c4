"""The programme that goes on from its last solution, against one that starts anew each time."""

import subprocess
import sys

import numpy as np
import pytest
from scipy import sparse
from scipy.optimize import linprog

from triage.learn.programme import Programme


@pytest.mark.parametrize("seed", range(6))
def test_it_finds_what_a_solver_that_starts_anew_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, columns = 5, 14
    matrix = rng.integers(-1, 2, (rows, columns)).astype(float)
    exact = rng.random(rows) < 0.6
    programme = Programme(sparse.csc_array(matrix), exact)
    none = 0
    for _ in range(40):
        cost = rng.normal(size=columns).round(2)
        low = rng.integers(-3, 2, columns).astype(float)
        high = low + rng.integers(0, 6, columns)
        mine = programme.solve(cost, low, high)
        other = linprog(
            cost,
            A_ub=matrix[~exact],
            b_ub=np.zeros((~exact).sum()),
            A_eq=matrix[exact],
            b_eq=np.zeros(exact.sum()),
            bounds=np.column_stack([low, high]),
        )
        if mine is None:
            none += 1
            assert other.status == 2
            continue
        assert other.status == 0
        assert cost @ mine == pytest.approx(other.fun, abs=1e-6)
        assert (mine >= low - 1e-6).all()
        assert (mine <= high + 1e-6).all()
        assert matrix[exact] @ mine == pytest.approx(0.0, abs=1e-6)
    assert 0 < none < 40


def test_it_says_nothing_on_stdout() -> None:
    """What a machine reads stands there; one version of the solver greets from each process."""
    made = "from triage.learn.programme import Programme as P; from scipy.sparse import eye_array"
    solved = "from numpy import ones; P(eye_array(2, format='csc'), ones(2, bool))"
    code = f"{made}; {solved}.solve(ones(2), -ones(2), ones(2))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    assert (done.stdout, done.stderr) == (b"", b"")
