"""Reads an SVG as a program would that knows nothing of what drew it."""

import re
from pathlib import Path
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"


def root(path: Path) -> ElementTree.Element:
    """The picture; a broken file is an error."""
    return ElementTree.fromstring(path.read_text("utf-8"))


def words(path: Path) -> list[str]:
    """Every text of the picture, in the order of the file."""
    return [" ".join("".join(text.itertext()).split()) for text in root(path).iter(f"{SVG}text")]


def column(path: Path, left: float = 600.0) -> dict[str, list[str]]:
    """Lines of the column beside a map: the first word of a line and what stands right of it."""
    lines: dict[int, list[tuple[float, str]]] = {}
    for text in root(path).iter(f"{SVG}text"):
        x, y = text.get("x"), text.get("y")
        if x is not None and y is not None and float(x) > left:
            said = " ".join("".join(text.itertext()).split())
            lines.setdefault(round(float(y)), []).append((float(x), said))
    ordered = [[said for _, said in sorted(line)] for _, line in sorted(lines.items())]
    return {first: rest for first, *rest in reversed(ordered)}


def families(path: Path) -> set[str]:
    """Fonts that the texts ask for."""
    styles = [str(text.get("style")) for text in root(path).iter(f"{SVG}text")]
    return {re.sub(r".*font-family: ([^;]*).*", r"\1", style) for style in styles}


def told(path: Path) -> tuple[str, str]:
    """Title and text alternative."""
    picture = root(path)
    return str(picture.findtext(f"{SVG}title")), str(picture.findtext(f"{SVG}desc"))


def leads_out(path: Path) -> list[str]:
    """Addresses and files that the picture would fetch: none may be there."""
    text = path.read_text("utf-8")
    marks = re.sub(r"xmlns(:\w+)?=\"[^\"]*\"", "", " ".join(re.findall(r"<[^>]*>", text)))
    found = re.findall(r"(?:https?:|file:|//)[^\s\"'<]*", marks)
    links = re.findall(r'(?:href|src)="(?!#)[^"]*"|url\((?!#)[^)]*\)|@import[^;]*', marks)
    return found + links + re.findall(r"<(?:!DOCTYPE|script|foreignObject|image|a)\b", text)
