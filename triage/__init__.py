"""Sort a retrofit programme's homes into three moisture-risk queues."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("retrofit-moisture-triage")
except PackageNotFoundError:  # a checkout that nobody installed
    __version__ = "0+unknown"
