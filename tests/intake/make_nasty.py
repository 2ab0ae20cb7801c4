"""Writes the nasty fixtures anew: python tests/intake/make_nasty.py [NAME...]. Sidecars stay."""

import sys

import nasty_broken
import nasty_ods
import nasty_text
import nasty_xls
import nasty_xlsx
import nasty_xlsx_odd
from nasty_sidecar import NASTY

MADE = (
    nasty_xlsx.FILES
    | nasty_xlsx_odd.FILES
    | nasty_xls.FILES
    | nasty_ods.FILES
    | nasty_text.FILES
    | nasty_broken.FILES
)


def main(names: list[str]) -> None:
    """Write the named files, or all of them."""
    for name in names or sorted(MADE):
        MADE[name](NASTY / name)


if __name__ == "__main__":
    main(sys.argv[1:])
