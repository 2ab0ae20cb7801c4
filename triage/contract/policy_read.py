"""Reads the entries of a policy pack; every slip is kept with its file and line."""

from collections.abc import Mapping
from typing import Literal

from triage.contract.fields import Field
from triage.contract.policy import (
    OUTCOMES,
    Evidence,
    FieldEvidence,
    Group,
    Junction,
    Measure,
    Needs,
    OuterClass,
    Parameter,
    Presumption,
    Quantity,
    RecordRules,
    Rule,
    SharedRoof,
    View,
)
from triage.contract.section import Section
from triage.contract.text import did_you_mean

Conditions = tuple[tuple[str, str], ...]

_SHARED = "asks_lists"  # not a quantity: lists of questions that quantities share
_SIDES: dict[str, Literal["high", "low"]] = {"high": "high", "low": "low"}
_RULE_KEYS = (
    *("id", "base", "title", "element", "groups", "outcome", "severity", "lane", "stop_work"),
    *(
        "review_before_repair",
        "quiet",
        "awaits",
        "not_overridable",
        "clears",
        "note_on",
        "statement",
    ),
    *("applies", "fires", "needs", "needs_for", "next_action", "cautions", "source"),
    *("repair_type", "must_not", "must_not_source"),
)


def named(section: Section) -> list[tuple[str, Section]]:
    """The tables of a section by their keys."""
    return [(key, section.table(key)) for key in section.data]


def _needs(section: Section, value: object, key: str) -> Needs:
    """`["a", ["b", "c"]]`: a, and b or c."""
    if not isinstance(value, list):
        section.blame(
            f"{key!r} should be a list of names", 'write needs = ["field", ["one", "or"]]', key
        )
        return ()
    return tuple(tuple(item) if isinstance(item, list) else (str(item),) for item in value)


def read_rule(s: Section) -> Rule:
    """One entry of a rule file."""
    s.only(*_RULE_KEYS)
    name = s.need("id", str, '"W01"') or "?"
    outcome = s.choice("outcome", OUTCOMES) or s.need("outcome", str, '"fix-water-first"')
    needs_for = s.get("needs_for", dict) or {}
    return Rule(
        id=name,
        base=s.get("base", str) or name,
        title=s.need("title", str, '"Covering defective"') or "",
        element=s.texts("element"),
        groups=s.texts("groups"),
        outcome=outcome if outcome in OUTCOMES else "note",
        severity=s.need("severity", int, "3") or 0,
        statement=s.need("statement", str, '"Why it matters"') or "",
        fires=s.need("fires", str, "\"gutter_condition = 'poor'\"") or "FALSE",
        next_action=s.need("next_action", str, '"What to do"') or "",
        applies=s.get("applies", str),
        needs=_needs(s, s.data.get("needs", []), "needs"),
        needs_for={g: _needs(s, v, "needs_for") for g, v in needs_for.items()},
        lane=s.get("lane", str),
        stop_work=s.get("stop_work", str),
        review_before_repair=s.get("review_before_repair", str),
        quiet=s.get("quiet", bool) or False,
        awaits=s.get("awaits", str),
        not_overridable=s.get("not_overridable", str),
        clears=s.texts("clears"),
        note_on=s.texts("note_on"),
        cautions=s.get("cautions", str) or "",
        repair_type=s.get("repair_type", str),
        must_not=s.texts("must_not"),
        must_not_source=(
            s.need("must_not_source", str, '"where it is from (PRACTICE)"') or ""
            if "must_not" in s.data
            else ""
        ),
        source=s.get("source", str) or "",
        line=s.file.place(*s.under, "id").row,
        file=str(s.file.path),
    )


def read_parameter(s: Section) -> Parameter:
    """One limit with its unit, mark and source."""
    s.only("value", "unit", "mark", "source", "exposed")
    return Parameter(
        name=s.under[-1],
        value=s.need("value", float, "20.0") or 0.0,
        unit=s.need("unit", str, '"mm"') or "",
        mark=s.need("mark", str, '"POLICY"') or "",
        source=s.need("source", str, '"where it is from"') or "",
        exposed=s.get("exposed", float),
    )


def _clearances(s: Section) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(inner) for inner in s.get("required_clearances", list) or [])


def read_group(code: str, s: Section) -> Group:
    """One measure group and what it requires."""
    s.only("title", "element", "required", "required_clearances", "review_lane")
    return Group(
        code=code,
        title=s.need("title", str, '"cavity fill"') or "",
        element=s.need("element", str, '"wall"') or "",
        required=s.texts("required"),
        required_clearances=_clearances(s),
        review_lane=s.get("review_lane", str),
    )


def read_measure(code: str, s: Section) -> Measure:
    """One measure."""
    s.only(
        *("name", "group", "spellings", "covers_timber", "tightening", "closes_inward_drying"),
        *("closes_outward_drying", "default_material", "hourly_model_required"),
        *("required_clearances", "adopted_code_ref"),
    )
    return Measure(
        code=code,
        name=s.need("name", str, '"Cavity wall fill"') or "",
        group=s.need("group", str, '"CWI"') or "",
        spellings=s.texts("spellings"),
        covers_timber=s.get("covers_timber", bool) or False,
        tightening=s.get("tightening", bool) or False,
        closes_inward_drying=s.get("closes_inward_drying", bool) or False,
        closes_outward_drying=s.get("closes_outward_drying", bool) or False,
        hourly_model_required=s.choice("hourly_model_required", ("never", "if_exposed", "always"))
        or "never",
        default_material=s.get("default_material", str),
        required_clearances=_clearances(s),
    )


def read_presumption(s: Section) -> Presumption:
    """One presumption and its check."""
    s.only("field", "groups", "when", "topic", "counts", "check")
    return Presumption(
        field=s.need("field", str, '"gutter_condition"') or "",
        groups=s.texts("groups"),
        when=s.need("when", str, '"void_seen_dry"') or "FALSE",
        topic=s.need("topic", str, '"rainwater goods"') or "",
        counts=s.get("counts", bool) or False,
        check=s.need("check", str, '"What to look at on the day"') or "",
    )


def read_quantities(top: Section) -> dict[str, Quantity]:
    """Every computed name of the pack; questions that several share stand in `asks_lists`."""
    lists = {name: _conditions(entry) for name, entry in named(top.table(_SHARED))}
    return {name: _quantity(name, s, lists) for name, s in named(top) if name != _SHARED}


def _conditions(s: Section) -> Conditions:
    """Field -> the condition under which it is the one to ask for."""
    return tuple((field, s.need(field, str, '"field IS NULL"') or "TRUE") for field in s.data)


def _asks_when(s: Section, lists: Mapping[str, Conditions]) -> Conditions:
    """The questions of a quantity: its own, or a shared list by name."""
    if isinstance(s.data.get("asks_when"), str):
        return lists.get(s.choice("asks_when", lists) or "", ())
    return _conditions(s.table("asks_when"))


def _quantity(name: str, s: Section, lists: Mapping[str, Conditions]) -> Quantity:
    s.only(
        *("meaning", "unit", "asks", "asks_when", "hoped_from", "computed", "awaits"),
        *("worse", "limits"),
    )
    return Quantity(
        name=name,
        meaning=s.need("meaning", str, '"what it is"') or "",
        unit=s.need("unit", str, '"-"') or "",
        computed=s.need("computed", str, '"survey"') or "",
        asks=s.texts("asks"),
        asks_when=_asks_when(s, lists),
        hoped_from=s.get("hoped_from", str),
        awaits=s.get("awaits", str),
        worse=_SIDES.get(s.choice("worse", _SIDES) or ""),
        limits=s.texts("limits"),
    )


def read_records(s: Section) -> RecordRules:
    """What records do to the evidence held."""
    s.only("events", "repairs", "decisions")
    events, repairs, decisions = (s.table(key) for key in ("events", "repairs", "decisions"))
    repairs.only("slow", "mends", "mended")
    decisions.only("competences")
    return RecordRules(
        event_ends={name: events.texts(name) for name in events.data},
        slow_repairs=repairs.texts("slow"),
        mends=repairs.texts("mends"),
        mended=repairs.texts("mended"),
        competences=decisions.texts("competences"),
    )


def read_evidence(s: Section, form: Mapping[str, Field]) -> Evidence:
    """The evidence standard of the pack; `form` are the fields of the survey, by group."""
    s.only(
        *("grades", "firm_from", "winter_readings", "reach", "views", "default", "fields"),
        *("batch", "shared_roof"),
    )
    reach = s.table("reach")
    fields = {
        name: _field_evidence(entry)
        for _, entry in named(s.table("fields"))
        for name in entry.texts("names")
    }
    return Evidence(
        grades=s.texts("grades"),
        firm_from=s.need("firm_from", str, '"reported"') or "reported",
        inside=reach.texts("inside"),
        outside=reach.texts("outside"),
        from_method=_pairs(reach.table("from_method")),
        limited_by=_pairs(reach.table("limited_by")),
        views={name: _view(name, entry) for name, entry in named(s.table("views"))},
        default=_field_evidence(s.table("default")),
        fields=fields,
        winter_readings=s.texts("winter_readings"),
        batch_fields=s.table("batch").texts("fields"),
        shared_roof=_shared_roof(s.table("shared_roof"), form),
    )


def _shared_roof(s: Section, form: Mapping[str, Field]) -> SharedRoof:
    """Whole groups of the survey form, with those beside them, without a dwelling's own."""
    s.only(
        *("property_types", "built_forms", "groups", "also", "own"),
        *("below", "none_above"),
    )
    own, groups = s.texts("own"), s.texts("groups")
    in_groups = [name for name, field in form.items() if field.group in groups]
    known = {field.group for field in form.values()}
    for key, words, pool in (("groups", groups, known), ("own", own, in_groups)):
        for word in words:
            if word not in pool:
                s.blame(f"{word!r} is not among the shared fields", did_you_mean(word, pool), key)
    roof = [name for name in in_groups if name not in own]
    above = s.table("none_above")
    said = [(key, above.get(key, str) or "") for key in above.data]
    return SharedRoof(
        property_types=s.texts("property_types"),
        built_forms=s.texts("built_forms"),
        roof=(*roof, *s.texts("also")),
        rain=s.texts("below"),
        none_above=said[0] if said else ("roof_form", "none_above"),
    )


def _pairs(s: Section) -> dict[str, tuple[str, str]]:
    pairs = {key: s.texts(key) for key in s.data}
    for key in (k for k, v in pairs.items() if len(v) != 2):
        s.blame(
            f"{key!r} should give the inside and the outside reach",
            'write ["internal", "none"]',
            key,
        )
    return {key: (value[0], value[1]) for key, value in pairs.items() if len(value) == 2}


def _view(name: str, s: Section) -> View:
    s.only("meaning", "inside", "outside", "either", "close_for", "dry_void_for")
    return View(
        name=name,
        meaning=s.get("meaning", str) or "",
        inside=s.get("inside", str),
        outside=s.get("outside", str),
        either=s.get("either", bool) or False,
        close_for=s.texts("close_for"),
        dry_void_for=s.texts("dry_void_for"),
    )


def _field_evidence(s: Section) -> FieldEvidence:
    s.only("names", "view", "clears_at", "expires", "reading", "ranking", "not_where")
    ranking = s.get("ranking", list) or []
    where = s.table("not_where")
    return FieldEvidence(
        view=s.get("view", str) or "record",
        clears_at=s.get("clears_at", str) or "documented",
        expires=s.get("expires", str) or "none",
        reading=s.get("reading", bool) or False,
        ranking=tuple(tuple(map(str, kind)) for kind in ranking if isinstance(kind, list)),
        not_where=tuple((name, where.texts(name)) for name in where.data),
    )


def read_outer_class(s: Section) -> OuterClass:
    """One build-up outside the insulation."""
    s.only("covering", "underlay", "class", "why")
    return OuterClass(
        covering=s.texts("covering"),
        underlay=s.texts("underlay"),
        result=s.need("class", str, '"class_1"') or "",
        why=s.need("why", str, '"why"') or "",
    )


def read_junction(s: Section) -> Junction:
    """One junction and its temperature factor."""
    s.only("name", "groups", "when", "factor", "mark", "source")
    factor = s.need("factor", float, "0.7") or 0.0
    if not 0 < factor <= 1:
        s.blame(
            f"a temperature factor of {factor:g}", "write a share, above 0 and up to 1", "factor"
        )
    return Junction(
        name=s.need("name", str, '"window reveal"') or "",
        groups=s.texts("groups"),
        when=s.need("when", str, '"TRUE"') or "TRUE",
        factor=factor,
        mark=s.need("mark", str, '"COMPUTED"') or "",
        source=s.need("source", str, '"where it is from"') or "",
    )
