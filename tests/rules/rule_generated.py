"""Generated homes: sound ones with a few answers changed, so that many stay safe."""

from datetime import date, timedelta

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from rule_homes import AS_OF, BASES, CONTRACT, HELD, PLACES, Answer, Home, Survey

# The same examples every time. Each is some dozens of homes and all that is made of them, so few
# do; a failure names its home, and shrinking dozens of homes would take minutes.
few = settings(
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=2,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

# Values on both sides of every limit of the policy (parameters.toml) that the field meets.
NUMBERS: dict[str, tuple[float, ...]] = {
    "timber_mc_pct": (12.0, 16.5, 18.0, 19.9, 20.0, 22.0, 28.0),
    "rh_mean_pct": (50.0, 64.0, 66.0),
    "temp_mean_c": (16.0, 18.0),
    "logger_days": (7, 14),
    "vent_free_area_ratio": (200.0, 400.0),
    "ground_to_dpc_mm": (-20.0, 100.0, 160.0),
    "cavity_width_mm": (45.0, 60.0),
    "ceiling_insulation_mm": (0.0, 49.0, 50.0, 200.0),
    "roof_pitch_deg": (3.0, 12.0, 14.0, 40.0),
    "foam_density_kg_m3": (8.0, 20.0, 32.0, 48.0),
    "foam_thickness_mm": (40.0, 80.0, 120.0),
    "wall_thickness_mm": (120.0, 228.0, 450.0),
    "foam_coverage_pct": (90.0,),
    "year_built": (1930, 2004),
}
# Answers that turn a home into another one altogether are drawn less often.
RARE = ("foam_type", "foam_location", "foam_substrate", "foam_density_kg_m3", "foam_coverage_pct")
_LEFT_OUT = ("survey_method", "measure_code", "survey_reach_inside", "survey_reach_outside")
_READ = sorted(
    {name for home in BASES.values() for name in home.facts}
    | {"foam_density_kg_m3", "roof_outer_class", "vapour_diffusion_port", "void_conditioning"}
)
DAYS = tuple(AS_OF - timedelta(days=n) for n in (20, 258, 400, 800))


def _answers(name: str) -> st.SearchStrategy[Answer]:
    field = CONTRACT.fields[name]
    blank: st.SearchStrategy[Answer] = st.none()
    known: st.SearchStrategy[Answer]
    if field.type == "code":
        known = st.sampled_from(field.known_codes)
    elif field.type == "codes":
        codes = st.sampled_from(field.known_codes)
        known = st.lists(codes, min_size=1, max_size=2, unique=True)
    elif field.type == "date":
        known = st.sampled_from(DAYS)
    elif name in NUMBERS:
        known = st.sampled_from(NUMBERS[name])
    else:
        known = st.just(None)
    return st.one_of(known, known, blank)


@st.composite
def _changes(draw: st.DrawFn) -> dict[str, Answer]:
    common = [n for n in _READ if n not in (*RARE, *_LEFT_OUT)]
    names = draw(
        st.lists(
            st.one_of(st.sampled_from(common), st.sampled_from(common), st.sampled_from(_READ)),
            max_size=3,
            unique=True,
        )
    )
    changes = {name: draw(_answers(name)) for name in names if name not in _LEFT_OUT}
    if draw(st.integers(0, 5)) == 0:
        changes["place"] = draw(st.sampled_from(sorted(PLACES)))
    return changes


@st.composite
def changed_homes(draw: st.DrawFn) -> Home:
    """A sound home, or one held by calculation alone, with up to three answers changed.

    Now and then it stands in another place.
    """
    homes = {**BASES, **{name: home for name, (home, _) in HELD.items()}}
    home = homes[draw(st.sampled_from(sorted(homes)))]
    return home.but(**draw(_changes()))


@st.composite
def further_surveys(draw: st.DrawFn, home: Home) -> Survey:
    """A second visit: mostly the same answers, some others, some not asked again."""
    kept = {
        name: value
        for name, value in home.facts.items()
        if name.startswith("survey_") or draw(st.integers(0, 3)) > 0
    }
    facts = {**kept, **{k: v for k, v in draw(_changes()).items() if k != "place"}}
    on: date = draw(st.sampled_from(DAYS))
    grade = draw(st.sampled_from(["observed", "observed", "photographed", "reported", "assumed"]))
    return Survey({**facts, "survey_date": on}, grade)
