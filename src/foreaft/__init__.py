"""Foreaft plans a racing car's brake balance corner by corner.

Importing the package loads no compiler, no optimiser and no user interface; each job loads what it
needs.
"""

__version__ = "0.1.0"
__all__ = ["__version__"]
