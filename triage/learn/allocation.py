"""Random visits shared out over strata in proportion to their roofs."""

from collections.abc import Mapping

from triage.contract.text import did_you_mean
from triage.errors import PolicyError


def random_visits(
    sizes: Mapping[str, int], visits: int, from_size: int, extra: Mapping[str, int], where: str
) -> dict[str, int]:
    """Random visits to each stratum.

    In proportion to the roofs, the largest remainders rounded up (ties by name), never more than
    there are; then one at least in each stratum of `from_size` roofs or more, taken from the
    strata that have most for their size; then `extra` on top.

    Parameters
    ----------
    sizes
        Roofs that can be drawn in each stratum.
    visits
        To share out, up to the number of roofs; more where the strata that must have one are more.
    from_size, extra
        See above.
    where
        What an error names as its place.

    Raises
    ------
    PolicyError
        If `extra` names a stratum that is not there.
    """
    for name in extra:
        if name not in sizes:
            raise PolicyError(f"there is no stratum {name!r}", where, did_you_mean(name, sizes))
    roofs = sum(sizes.values())
    must = {name: int(size >= from_size) for name, size in sizes.items()}
    visits = max(min(visits, roofs), sum(must.values()))
    shares = {name: visits * size / roofs for name, size in sizes.items()} if roofs else {}
    given = {name: int(share) for name, share in shares.items()}
    by_remainder = sorted(shares, key=lambda name: (given[name] - shares[name], name))
    for name in by_remainder[: visits - sum(given.values())]:
        given[name] += 1
    for name in sorted(sizes):
        if given[name] < must[name]:
            # A stratum gives one only if it keeps what it must have.
            rich = max(
                (n for n in sizes if given[n] > must[n]), key=lambda n: (given[n] - shares[n], n)
            )
            given[rich] -= 1
            given[name] = 1
    return {n: min(sizes[n], given[n] + extra.get(n, 0)) for n in sorted(sizes)}
