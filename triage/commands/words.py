"""How commands speak: progress to standard error, results to standard output."""

import json
import sys
from typing import Annotated, Any

import typer

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object on standard output.")]


def say(text: str) -> None:
    """Progress and words for people, on stderr."""
    print(f"  {text}", file=sys.stderr, flush=True)


def print_json(value: Any) -> None:  # noqa: ANN401 - whatever a command has to say
    """One JSON value on standard output."""
    json.dump(value, sys.stdout, indent=2, ensure_ascii=False, default=str)
    sys.stdout.write("\n")
