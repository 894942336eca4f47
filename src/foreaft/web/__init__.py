"""The app in the browser: a thin face over :mod:`foreaft.jobs` that computes nothing.

The server translates names of the library into files, calls the same jobs as the command line, and
gives the same answers.
"""
