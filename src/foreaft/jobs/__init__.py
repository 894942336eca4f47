"""One function per use case: a typed request in, a typed answer out. This is the public Python API.

``from foreaft.jobs.plan import plan``, and so on (docs/reference/python.md).
The command line and whatever else may stand in front compute nothing.
Nothing is gathered here: a function and the module it lies in cannot both be ``jobs.plan``.
"""
