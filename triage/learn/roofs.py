"""Foamed roofs out of the tables of a run: homes under one roof are one roof to inspect."""

import polars as pl

from triage.contract.inspection import EVIDENCE, FACTS, NAMES, QUANTITIES

HOME_PART = ("property_id", "building_part")
_NOTHING_SEEN = ("none_seen", "none_found", "none")
_WORST = {"foam_air_gap_mm": "min", "foam_thickness_mm": "min"}  # other numbers: the highest
_IDENTITY = ("area", "building_id", "lat", "lon")


def foamed_roofs(
    queue: pl.DataFrame,
    evidence: pl.DataFrame,
    quantities: pl.DataFrame,
    extra: pl.DataFrame | None = None,
    area: str = "region_name",
) -> pl.DataFrame:
    """One row for each roof that carries foam, or may.

    Homes with the same `building_id` and part are under one roof. Where they answer differently,
    a code is unknown, a defect of one is a defect of the roof, and of numbers the worse is kept;
    "none seen" has to be said of every home.

    Parameters
    ----------
    queue
        Queue rows of a run; those of the measure group FOAM are the foamed home-parts.
    evidence
        Current evidence, `variant` 0 if the column is there: key and the survey's fields.
    quantities
        Computed quantities: key, `measure_code` and QUANTITIES.
    extra
        What the programme knows besides, by `property_id` and `building_part`: any of FACTS.
    area
        Column of `queue` by which visits are grouped.

    Returns
    -------
    pl.DataFrame
        `roof_id`, `property_id` (the first home), `building_part`, `property_ids`, `area`,
        `building_id`, `lat`, `lon`, and every one of `contract.inspection.NAMES`; sorted by
        `roof_id`. Every foamed home-part is in one roof.
    """
    foamed = queue.filter(pl.col("measure_group") == "FOAM").with_columns(
        pl.col(area).cast(pl.String).alias("area")
    )
    if "variant" in evidence.columns:
        evidence = evidence.filter(pl.col("variant") == 0)
    known = foamed.select(
        *HOME_PART, "measure_code", "exposure", *_IDENTITY, *(_rule_fires(k) for k in "WR")
    ).unique(list(HOME_PART), keep="first", maintain_order=True)
    known = known.join(_of(evidence, EVIDENCE), on=HOME_PART, how="left", validate="1:1")
    computed = _of(quantities, QUANTITIES, "measure_code")
    known = known.join(computed, on=[*HOME_PART, "measure_code"], how="left", validate="1:1")
    if extra is not None:
        named = [name for name in FACTS if name in extra.columns and name not in known.columns]
        known = known.join(extra.select(*HOME_PART, *named), on=HOME_PART, how="left")
    return _by_roof(_complete(known.sort(HOME_PART)))


def _of(frame: pl.DataFrame, names: object, *keys: str) -> pl.DataFrame:
    wanted = [name for name in NAMES if name in frame.columns and name in names]  # type: ignore[operator]
    return frame.select(*HOME_PART, *keys, *wanted)


def _rule_fires(letter: str) -> pl.Expr:
    name = {"W": "water_rule_fires", "R": "roof_rule_fires"}[letter]
    return pl.col("fired").list.eval(pl.element().str.starts_with(letter)).list.any().alias(name)


def _complete(known: pl.DataFrame) -> pl.DataFrame:
    """Names that nobody supplied are unknown."""
    return known.with_columns(
        (pl.col(name) if name in known.columns else pl.lit(None)).cast(kind).alias(name)
        for name, kind in NAMES.items()
    )


def _by_roof(known: pl.DataFrame) -> pl.DataFrame:
    shared = pl.coalesce("building_id", "property_id")
    roof = pl.concat_str(shared, "building_part", separator=" / ", ignore_nulls=True)
    facts = [_fold(name, kind) for name, kind in NAMES.items() if name != "dwellings"]
    homes = pl.max_horizontal(pl.col("property_id").n_unique(), pl.col("dwellings").max())
    return (
        known.with_columns(roof.alias("roof_id"))
        .group_by("roof_id")
        .agg(
            pl.col("property_id").first(),
            pl.col("building_part").first(),
            pl.col("property_id").unique().sort().alias("property_ids"),
            *(pl.col(name).drop_nulls().first() for name in _IDENTITY),
            homes.cast(pl.Int64).alias("dwellings"),
            *facts,
        )
        .sort("roof_id")
    )


def _fold(name: str, kind: pl.DataType) -> pl.Expr:
    """One answer of a roof from those of its homes."""
    column = pl.col(name)
    if kind == pl.List(pl.String):
        said = column.explode(empty_as_null=False, keep_nulls=False).unique().sort()
        clear = said.is_in(list(_NOTHING_SEEN))
        # Of the homes of one roof, all must say "none"; a defect of one is there all the same.
        told = said.filter(~clear | (clear.all() & (column.null_count() == 0)))
        return pl.when(told.len() > 0).then(told.implode()).otherwise(None).alias(name)
    if kind == pl.Boolean():
        seen = column.any()
        unknown = column.null_count() > 0
        return pl.when(seen).then(statement=True).when(~unknown).then(statement=False).alias(name)
    if kind == pl.String():
        answers = column.drop_nulls()
        return pl.when(answers.n_unique() == 1).then(answers.first()).alias(name)
    return column.min() if _WORST.get(name) == "min" else column.max()
