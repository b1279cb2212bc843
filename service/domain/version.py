"""The version of the program, named in every verdict it records."""

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def program_version() -> str:
    """Version of the installed distribution."""
    try:
        return version("keepcard")
    except PackageNotFoundError:  # run from a folder that was never installed
        return "unknown"
