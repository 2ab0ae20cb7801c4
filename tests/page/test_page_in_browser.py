"""The page as a person meets it: in Chromium, with a mouse, with keys, on a small screen."""

import itertools
from pathlib import Path

import polars as pl
import pytest
from page_browser import Browser
from page_runs import HOSTILE, QUEUES, TITLE, TITLES, PageRun
from PIL import ImageColor

FOAM = {"yes": "Foam", "no": "No foam", "unknown": "Not known"}


def _state(browser: Browser) -> tuple[int, int]:
    """Rows and homes that the page says it shows."""
    told = browser.text("#state").split(". ")[-1].replace(",", "").split()
    return int(told[0]), int(told[4])


def _listed(browser: Browser) -> list[str]:
    """Ids of all homes of the table, page after page."""
    found: list[str] = []
    while True:
        found += browser.run(
            "return [...document.querySelectorAll('#homes tbody button')].map(b => b.textContent)"
        )
        if browser.run("return document.getElementById('on').disabled"):
            return found
        browser.run("document.getElementById('on').click()")


def _shown(name: str) -> str:
    """A name as the page writes it: marks that steer the direction of text replaced."""
    return name.replace("\u202e", "\ufffd").replace("\u200f", "\ufffd")


def _agrees(browser: Browser, run: PageRun, rows: pl.DataFrame, extra: set[str]) -> None:
    """Counts, map and table of the page are those of these rows of queue.parquet."""
    worst = run.worst(rows)
    assert _state(browser) == (rows.height, len(worst))
    by_queue = browser.counts("queues")
    for queue in QUEUES:
        in_rows = rows.filter(pl.col("queue") == queue).height
        in_homes = sum(1 for found in worst.values() if found == queue)
        assert by_queue[TITLES[queue]] == [in_rows, in_homes]
    placed = set(run.queue.drop_nulls(["lat", "lon"])["property_id"])
    drawn = [sum(1 for h, q in worst.items() if q == queue and h in placed) for queue in QUEUES]
    assert browser.run("return programmePage.drawn()") == drawn
    marks = browser.run(
        "return [...document.querySelectorAll('#map .ring')].map(mark => mark.textContent.trim())"
    )
    assert sum(int(words or 1) for words in marks) == sum(drawn)  # what stands in the rings
    listed = _listed(browser)
    assert sorted(listed) == sorted(map(_shown, {*worst, *extra}))
    areas = browser.counts("areas")
    assert sum(numbers[0] for numbers in areas.values()) == len(worst)


def test_it_loads_quietly_and_asks_for_nothing(opened: Browser, page_run: PageRun) -> None:
    assert opened.complaints() == []
    asked = [url for url in opened.requests() if not url.startswith("blob:")]
    assert asked == [page_run.page.as_uri()]


def test_the_policy_of_the_page_stops_what_is_not_its_own(opened: Browser) -> None:
    opened.run(
        """
        const script = document.createElement("script");
        script.textContent = "window.planted = 1";
        document.body.append(script);
        const picture = document.createElement("img");
        picture.src = "data:image/gif;base64,R0lGODlhAQABAAAAACw=";
        document.body.append(picture);
        """
    )
    assert opened.run("return window.planted") is None
    assert any("Content Security Policy" in line for line in opened.complaints())


def test_unfiltered_counts_are_those_of_the_run(opened: Browser, page_run: PageRun) -> None:
    bare = set(page_run.homes.filter(pl.col("queue").is_null())["property_id"])
    _agrees(opened, page_run, page_run.queue, bare)
    lanes = opened.counts("lanes")
    safe = page_run.queue.filter(pl.col("queue") == "safe-to-insulate")
    released = safe.filter("released")
    outstanding = safe.filter(~pl.col("released"))
    for name, rows in (("released", released), ("checks outstanding", outstanding)):
        told = lanes.get(f"Safe, {name}", [0, 0])
        assert told == [rows.height, rows["property_id"].n_unique()]
    assert outstanding.height
    for lane, rows in page_run.queue.drop_nulls("lane").group_by("lane").len().rows():
        told = [numbers for name, numbers in lanes.items() if lane.replace("_", " ") in name]
        assert [numbers[0] for numbers in told] == [rows]


def test_every_filter_changes_map_and_table_alike(opened: Browser, page_run: PageRun) -> None:
    queue = page_run.queue
    measure = queue["measure_name"].value_counts(sort=True)["measure_name"][0]
    opened.choose(measure=measure)
    _agrees(opened, page_run, queue.filter(pl.col("measure_name") == measure), set())
    opened.clear()
    for name in QUEUES:
        opened.choose(queue=TITLES[name])
        _agrees(opened, page_run, queue.filter(pl.col("queue") == name), set())
    opened.choose(queue="Review: technical")
    _agrees(opened, page_run, queue.filter(pl.col("lane") == "technical"), set())
    opened.clear()
    for value in queue["foam_present"].unique().sort():
        opened.choose(foam=FOAM[value])
        _agrees(opened, page_run, queue.filter(pl.col("foam_present") == value), set())
    opened.clear()
    rules = opened.run(
        "return [...document.getElementById('f-rule').options].map(o => o.textContent)"
    )
    for text in itertools.islice(rules[1:], 0, None, 7):
        opened.choose(rule=text)
        rule = text.split(" ")[0]
        _agrees(opened, page_run, queue.filter(pl.col("fired").list.contains(rule)), set())


def test_filters_work_together(opened: Browser, page_run: PageRun) -> None:
    queue = page_run.queue
    opened.choose(queue="Fix water first", rule="W04 Gutter, valley or downpipe defective")
    both = (pl.col("queue") == "fix-water-first") & pl.col("fired").list.contains("W04")
    _agrees(opened, page_run, queue.filter(both), set())
    said = opened.text("#state")
    assert said.startswith("Queue and lane: Fix water first; Rule that fires: W04 Gutter")
    opened.choose(find="kc-00")
    named = both & pl.col("property_id").str.starts_with("KC-00")
    _agrees(opened, page_run, queue.filter(named), set())


def test_an_area_is_chosen_from_its_table(opened: Browser, page_run: PageRun) -> None:
    codes = dict(page_run.stored("SELECT property_id, postal_code FROM home").rows())
    expected: dict[str, list[int]] = {}
    for home, queue in page_run.worst(page_run.queue).items():
        area = codes[home].split()[0] if codes[home] else "Postal code not on record"
        line = expected.setdefault(area, [0, 0, 0, 0])
        line[0] += 1
        line[1 + QUEUES.index(queue)] += 1
    assert opened.counts("areas") == expected
    opened.run(
        "[...document.querySelectorAll('#areas button')].find(b => b.textContent == 'EX8').click()"
    )
    assert opened.focus() == "f-area"
    assert opened.counts("areas") == {"EX8": expected["EX8"]}
    assert {codes.get(home) for home in _listed(opened)} >= {"EX8 4TR"}


def test_rules_are_counted_by_home(opened: Browser, page_run: PageRun) -> None:
    expected: dict[str, list[int]] = {}
    seen: set[tuple[str, str, int]] = set()
    for home, fired, undecidable in page_run.queue.select(
        "property_id", "fired", "undecidable"
    ).rows():
        for place, rules in ((0, fired), (2, undecidable)):
            for rule in rules:
                line = expected.setdefault(rule, [0, 0, 0])
                line[1] += place == 0
                line[place] += (home, rule, place) not in seen
                seen.add((home, rule, place))
    told = {name.split(" ")[0]: numbers for name, numbers in opened.counts("reasons").items()}
    assert told == expected


def test_gaps_are_counted_by_home(opened: Browser, page_run: PageRun) -> None:
    waiting: dict[str, set[str]] = {}
    alone: dict[str, set[str]] = {}
    asked = page_run.stored("SELECT property_id, missing FROM queue WHERE asks_for_evidence")
    for home, missing in asked.rows():
        for field in missing:
            waiting.setdefault(field, set()).add(home)
            if len(missing) == 1:
                alone.setdefault(field, set()).add(home)
    expected = sorted([len(homes), len(alone.get(f, set()))] for f, homes in waiting.items())
    assert sorted(opened.counts("gaps").values()) == expected
    leaks = [len(waiting["roof_leak_evidence"]), len(alone.get("roof_leak_evidence", set()))]
    assert opened.counts("gaps")["Roof leak evidence"] == leaks


def test_foamed_homes_are_counted_by_type(opened: Browser, page_run: PageRun) -> None:
    queue = page_run.queue.filter(pl.col("foam_present") == "yes")
    types = page_run.stored(
        """
        SELECT property_id, max(foam_type) AS type
        FROM current_evidence WHERE variant = 0 GROUP BY 1
        """
    )
    named = dict(types.rows())
    expected: dict[str, list[int]] = {}
    for home, found in page_run.worst(queue).items():
        kind = named[home].replace("_", " ") if named[home] else "type not known"
        line = expected.setdefault(f"Foam: {kind}", [0, 0, 0, 0])
        line[0] += 1
        line[1 + QUEUES.index(found)] += 1
    opened.choose(foam="Foam")
    assert opened.counts("foam") == expected
    assert expected


def test_what_ends_is_counted_by_month(opened: Browser, page_run: PageRun) -> None:
    calendar = pl.read_parquet(page_run.folder / "expiry_calendar.parquet")
    expected: dict[str, list[int]] = {}
    for month, rows in calendar.group_by(pl.col("expires_on").dt.strftime("%B %Y")):
        leaving = rows.filter("leaves_safe")["property_id"].n_unique()
        expected[str(month[0])] = [rows["property_id"].n_unique(), rows.height, leaving]
    assert opened.counts("expiry") == expected
    assert sum(line[2] for line in expected.values())


def test_the_reasons_of_a_home_are_those_of_the_run(opened: Browser, page_run: PageRun) -> None:
    some = page_run.queue.group_by("queue", "lane").agg(pl.col("property_id").min())
    for home in some.sort("property_id")["property_id"]:
        opened.choose(find=_shown(home))
        opened.run(
            """
            [...document.querySelectorAll('#homes tbody button')]
              .find(b => b.textContent === arguments[0]).click()
            """,
            _shown(home),
        )
        told = opened.text("#home")
        for row in page_run.queue.filter(pl.col("property_id") == home).to_dicts():
            for part in (row["reason"], row["next_action"], row["measure_name"], *row["fired"]):
                assert part in told
            for part in (*row["undecidable"], *row["checks"], *row["enabling"], *row["stop_work"]):
                assert part in told
            for part in (*row["conflict_notes"], *row["presumed"], *row["notes"]):
                assert _shown(part) in told
            assert TITLES[row["queue"]] in told


def test_the_table_pages_and_sorts(opened: Browser, page_run: PageRun) -> None:
    ids = _listed(opened)
    assert ids == sorted(ids)
    assert len(ids) == len(set(ids)) == page_run.homes.height
    assert opened.run("return document.querySelectorAll('#homes thead th').length") == 2
    opened.run("document.querySelector('[data-sort=id]').click()")
    state = "return document.querySelectorAll('#homes th')[0].getAttribute('aria-sort')"
    assert opened.run(state) == "descending"
    assert _listed(opened) == sorted(ids, reverse=True)
    opened.run("document.querySelector('[data-sort=area]').click()")
    areas = dict(page_run.stored("SELECT property_id, postal_code FROM home").rows())
    shown = {_shown(home): code for home, code in areas.items()}
    told = [shown[home] for home in _listed(opened)]
    named = [code.split()[0] for code in told if code]
    assert named == sorted(named)
    assert told[: len(named)] == [code for code in told if code]  # not on record: last
    assert None in told


def test_hostile_names_show_as_text(opened: Browser) -> None:
    assert opened.text("h1") == TITLE
    for name in HOSTILE:
        opened.choose(find=_shown(name)[:200])
        assert _listed(opened) == [_shown(name)]
        opened.run("document.querySelector('#homes tbody button').click()")
        assert opened.text("#home-title") == f"Home {_shown(name)}"
    assert opened.run("return window.hit") is None
    assert (
        opened.run("return document.querySelectorAll('main img, main a[href^=http]').length") == 0
    )
    assert opened.complaints() == []


def test_the_keyboard_reaches_everything(opened: Browser) -> None:
    from selenium.webdriver.common.keys import Keys

    seen = []
    for _ in range(24):
        opened.press(Keys.TAB)
        seen.append(opened.focus())
        if seen[-1].startswith("Home id"):
            break
    for wanted in ("f-area", "f-measure", "f-queue", "f-rule", "f-foam", "f-find", "Clear all"):
        assert wanted in seen
    assert "Skip to the filters" in seen[:1]
    assert "map" in seen
    opened.press(Keys.TAB, Keys.TAB)
    home = opened.focus()
    opened.press(Keys.ENTER)
    assert opened.focus() == "home-title"
    assert opened.text("#home-title") == f"Home {home}"
    opened.press(Keys.TAB, Keys.ENTER)
    assert opened.focus() == home
    assert opened.run("return document.getElementById('home').hidden")


def test_the_map_is_walked_with_keys_to_a_single_home(opened: Browser, page_run: PageRun) -> None:
    from selenium.webdriver.common.keys import Keys

    placed = page_run.queue.drop_nulls("lat").filter(pl.col("property_id").str.starts_with("KC"))
    home = str(placed["property_id"].min())
    opened.choose(find=home)
    opened.run("document.getElementById('map').focus()")
    scale = opened.text(".leaflet-control-scale-line")
    opened.press("+")
    opened.wait(
        "return document.querySelector('.leaflet-control-scale-line').textContent !== arguments[0]",
        scale,
    )
    opened.press("-")
    middle = opened.run(
        "const b = document.getElementById('map'); return [b.clientWidth / 2, b.clientHeight / 2]"
    )
    for _ in range(40):
        spot = opened.run("return programmePage.at(arguments[0])", home)
        right, down = spot["x"] - middle[0], spot["y"] - middle[1]
        if max(abs(right), abs(down)) <= 40:
            break
        if abs(right) > 40:
            opened.press(Keys.ARROW_RIGHT if right > 0 else Keys.ARROW_LEFT)
        else:
            opened.press(Keys.ARROW_DOWN if down > 0 else Keys.ARROW_UP)
        opened.wait(
            "const { x, y } = programmePage.at(arguments[0]); return x + y !== arguments[1]",
            home,
            spot["x"] + spot["y"],
        )
    said = opened.text("#map-said")
    assert said.startswith(f"{home}: ")
    assert said.split(": ")[1] == TITLES[page_run.worst(page_run.queue)[home]]
    opened.press(Keys.ENTER)
    assert opened.focus() == "home-title"
    assert opened.text("#home-title") == f"Home {home}"


def _click(browser: Browser, home: str) -> None:
    """Click on the map where a home stands."""
    from selenium.webdriver.common.action_chains import ActionChains

    browser.run("document.getElementById('map').scrollIntoView({ block: 'center' })")
    spot = browser.run("return programmePage.at(arguments[0])", home)
    box = browser.driver.find_element("id", "map")
    from_middle = (
        round(spot["x"] - box.size["width"] / 2),
        round(spot["y"] - box.size["height"] / 2),
    )
    moves = ActionChains(browser.driver, duration=0)
    moves.move_to_element_with_offset(box, *from_middle).click().perform()


def test_a_single_mark_opens_its_home(opened: Browser, page_run: PageRun) -> None:
    placed = page_run.queue.drop_nulls("lat").filter(pl.col("property_id").str.starts_with("KC"))
    home = str(placed["property_id"].min())
    opened.choose(find=home)
    _click(opened, home)
    opened.wait("return !document.getElementById('home').hidden")
    assert opened.text("#home-title") == f"Home {home}"
    rings = "return document.querySelectorAll('#map .chosen').length"
    assert opened.run(rings) == 1
    opened.run("document.getElementById('close').click()")
    assert opened.run(rings) == 0


def test_a_ring_comes_nearer(opened: Browser, page_run: PageRun) -> None:
    placed = page_run.queue.drop_nulls("lat").filter(pl.col("property_id").str.starts_with("KC"))
    scale = opened.text(".leaflet-control-scale-line")
    before = sum(opened.run("return programmePage.drawn()"))
    _click(opened, str(placed["property_id"].min()))
    opened.wait(
        "return document.querySelector('.leaflet-control-scale-line').textContent !== arguments[0]",
        scale,
    )
    assert opened.run("return document.getElementById('home').hidden")
    assert 0 < sum(opened.run("return programmePage.drawn()")) < before


def test_the_parts_of_a_ring_are_the_shares_of_the_queues(opened: Browser) -> None:
    opened.run("document.getElementById('map').scrollIntoView({ block: 'center' })")
    rings = opened.run(
        """
        return [...document.querySelectorAll("#map .ring")].map(ring => {
          const box = ring.getBoundingClientRect(), radius = .82 * box.width / 2;
          const [x, y] = [box.x + box.width / 2, box.y + box.height / 2], seen = {};
          for (let turn = .5; turn < 200; turn++) {
            const at = Math.PI * (turn / 100 - .5);
            const [east, south] = [radius * Math.cos(at), radius * Math.sin(at)];
            const met = document.elementFromPoint(x + east, y + south);
            const colour = met.getAttribute("stroke") ?? "none";
            seen[colour] = (seen[colour] ?? 0) + 1;
          }
          return [ring.textContent.trim(), seen];
        })
        """
    )
    fills = opened.run(
        "return [...document.querySelectorAll('.legend [fill]')].map(e => e.getAttribute('fill'))"
    )
    colours = [*fills[:2], "url(#hatch)"]
    drawn = dict.fromkeys(colours, 0.0)
    for words, seen in rings:
        met = sum(seen.get(colour, 0) for colour in colours)
        if words:  # a ring; another mark may lie over a part of it
            assert met > 150
            for colour in colours:
                drawn[colour] += int(words) * seen.get(colour, 0) / met
    told = opened.run("return programmePage.drawn()")
    assert list(drawn.values()) == pytest.approx(told, abs=0.02 * sum(told))


def test_homes_at_one_place_are_listed(opened: Browser) -> None:
    same = [name for name in HOSTILE if "script" in name]
    opened.choose(find="script")
    _click(opened, same[0])
    opened.wait("return !document.getElementById('home').hidden")
    assert opened.text("#home-title") == f"{len(same)} homes at one place"
    opened.run("document.querySelector('#home-body button').click()")
    assert opened.text("#home-title") in {f"Home {name}" for name in same}


@pytest.mark.parametrize("width", [1280, 360])
def test_the_audit_finds_no_violation(opened: Browser, width: int) -> None:
    opened.resize(width, 800)
    assert opened.violations() == []
    opened.run("document.querySelector('#homes tbody button').click()")
    opened.run("document.querySelector('details').open = true")
    opened.choose(queue="Specialist review")
    assert opened.violations() == []


def test_the_audit_can_fail(opened: Browser) -> None:
    opened.run("document.querySelector('main').append(document.createElement('textarea'))")
    assert [line.split(":")[0] for line in opened.violations()] == ["label"]


@pytest.mark.parametrize("spoil", ["delete window.DecompressionStream", "window.atob = () => 'no'"])
def test_a_browser_that_cannot_unpack_says_so(
    opened: Browser, page_run: PageRun, spoil: str
) -> None:
    planted = opened.cdp("Page.addScriptToEvaluateOnNewDocument", source=spoil)
    try:
        opened.driver.get(page_run.page.as_uri())
        opened.wait("return !document.getElementById('failed').hidden")
    finally:
        opened.cdp("Page.removeScriptToEvaluateOnNewDocument", identifier=planted["identifier"])
    assert opened.text("#failed").startswith("The homes in this file cannot be unpacked")
    assert opened.run("return document.querySelector('.cautions').offsetHeight") > 0


def test_nothing_sticks_out_of_a_small_screen(opened: Browser) -> None:
    opened.resize(360, 740)
    opened.run("document.querySelector('#homes tbody button').click()")
    assert opened.run("return document.documentElement.scrollWidth") <= 360
    wide = opened.run(
        """
        return [...document.querySelectorAll("main *")].filter(e => !e.closest(".scroll, #map")
          && e.getBoundingClientRect().right > 361).map(e => e.outerHTML.slice(0, 80))
        """
    )
    assert wide == []


@pytest.mark.parametrize("shown", ["1280", "360", "print"])
def test_a_picture_of_the_map_has_ground_and_every_queue(opened: Browser, shown: str) -> None:
    if shown == "print":
        opened.cdp("Emulation.setEmulatedMedia", media="print")
    else:
        opened.resize(int(shown), 800)
        opened.open(Path(opened.run("return location.pathname")))
    try:
        seen = opened.picture("map")
    finally:
        opened.cdp("Emulation.setEmulatedMedia", media="")
    colours = {colour: n for n, colour in seen.convert("RGB").getcolors(2**20)}
    land, sea = (0xEC, 0xEF, 0xF0), (0xF7, 0xF8, 0xF8)
    fills = opened.run(
        "return [...document.querySelectorAll('.legend [fill]')].map(e => e.getAttribute('fill'))"
    )
    of_queues = [ImageColor.getrgb(fill) for fill in fills[:3]]
    assert min(colours[ground] for ground in (land, sea)) > 0.1 * seen.width * seen.height
    assert all(colours[fill] > 30 for fill in of_queues)


def test_it_prints_what_is_chosen_and_every_caution(opened: Browser) -> None:
    opened.choose(queue="Fix water first")
    opened.cdp("Emulation.setEmulatedMedia", media="print")
    seen = "return document.querySelector(arguments[0]).getClientRects().length > 0"
    assert not opened.run(seen, "#f-area")
    assert not opened.run(seen, "#close")
    for kept in ("#state", ".cautions", "#map", "#words-title", "#homes table"):
        assert opened.run(seen, kept)
    opened.cdp("Emulation.setEmulatedMedia", media="")
    assert opened.text("#state").startswith("Queue and lane: Fix water first.")
    assert opened.pdf().startswith(b"%PDF")
    assert opened.complaints() == []
