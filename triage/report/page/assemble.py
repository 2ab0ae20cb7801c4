"""Puts the page together: one file, nothing fetched, nothing run that is not named by its hash."""

import base64
import gzip
import hashlib
import json
import re
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from triage.report.page.parts import text

_SLOT = re.compile(r"\{\{(\w+)\}\}")
_FETCHES = re.compile(r"[^{}]*\{[^{}]*url\([^{}]*\}")
_SOURCE_MAP = re.compile(r"^//# sourceMappingURL=.*$", re.MULTILINE)
_ENDS_A_SCRIPT = re.compile(r"</script|<!--", re.IGNORECASE)
LIBRARY = "Leaflet 1.9.4"


def read_part(name: str) -> str:
    """A file that ships beside this module."""
    return (files("triage.report.page") / name).read_text(encoding="utf-8")


def pack(data: Mapping[str, Any]) -> str:
    """Data as JSON, compressed, in letters that mean nothing to HTML; the same each time."""
    plain = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return base64.b64encode(gzip.compress(plain.encode("utf-8"), 9, mtime=0)).decode("ascii")


def assemble(parts: Mapping[str, str], data: Mapping[str, Any]) -> str:
    """The whole page.

    Parameters
    ----------
    parts
        HTML for the slots of page.html, escaped already.
    data
        What the script reads, see `content.page_data`.
    """
    styles = {
        # Rules that would fetch a picture belong to controls that the page does not have.
        "library_style": _FETCHES.sub("", read_part("vendor/leaflet/leaflet.css")),
        "style": read_part("page.css"),
    }
    scripts = {
        "library": _SOURCE_MAP.sub("", read_part("vendor/leaflet/leaflet.js")),
        "map_script": read_part("map.js"),
        "page_script": read_part("page.js"),
    }
    for name, script in scripts.items():
        if _ENDS_A_SCRIPT.search(script):
            raise ValueError(f"the text of {name} would end its own element")
    licence = f"Map: {LIBRARY}\n\n{read_part('vendor/leaflet/LICENSE')}"
    slots = {**parts, **styles, **scripts, "licence": text_lines(licence), "data": pack(data)}
    slots["csp"] = _policy(styles.values(), scripts.values())
    return _SLOT.sub(lambda found: slots[found[1]], read_part("page.html"))


def text_lines(lines: str) -> str:
    """Text of several lines, escaped."""
    return "\n".join(text(line) for line in lines.splitlines())


def _policy(styles: Any, scripts: Any) -> str:  # noqa: ANN401 - any texts
    """Content security policy: nothing from anywhere, and only these scripts and styles."""
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {' '.join(map(_hash, scripts))}",
            f"style-src {' '.join(map(_hash, styles))}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _hash(inline: str) -> str:
    digest = hashlib.sha256(inline.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
