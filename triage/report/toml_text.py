"""Texts from foreign files as TOML strings and comments that nothing in them can break out of."""

_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
_LONGEST = 40
_LOST = "\ufffd"


def quoted(text: str) -> str:
    """A TOML basic string on one line that reads back to exactly this text.

    What cannot be printed is written as an escape, so that it cannot fool the eye either.
    """
    return '"' + "".join(_escaped(sign) for sign in text) + '"'


def inert_words(text: str, longest: int = _LONGEST) -> str:
    """A text for a comment: one line, printable, cut to `longest` characters."""
    line = " ".join(text.split())
    shown = "".join(sign if sign.isprintable() else _LOST for sign in line[: longest + 1])
    return shown if len(line) <= longest else shown[: longest - 1] + "…"


def _escaped(sign: str) -> str:
    if sign in _SHORT:
        return _SHORT[sign]
    if sign.isprintable():
        return sign
    code = ord(sign)
    return f"\\u{code:04X}" if code <= 0xFFFF else f"\\U{code:08X}"
