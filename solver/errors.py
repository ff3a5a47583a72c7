"""The solver's own errors: a call that breaks a rule which the caller must keep."""


class SolverError(ValueError):
    """A value handed to the solver that it can't work with."""
