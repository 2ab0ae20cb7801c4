"use strict";
/* The programme page: unpacks the run, filters its rows, fills the tables. Text goes in as text. */

(async () => {
  const $ = id => document.getElementById(id);
  const count = new Intl.NumberFormat("en").format, PAGE = 20, SHORT = 12;
  const share = (part, of) => of >= 10 ? `${(100 * part / of).toFixed(part && part < of / 100 ? 1 : 0)}%`
    : count(part);

  function el(tag, more, ...inside) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(more ?? {}))
      if (name === "on") made.addEventListener("click", value); else made.setAttribute(name, value);
    made.append(...inside.filter(part => part !== null && part !== undefined));
    return made;
  }

  async function unpack() {
    const bytes = Uint8Array.from(atob($("data").textContent), c => c.charCodeAt(0));
    $("data").remove();
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return JSON.parse(await new Response(stream).text());
  }

  let data;
  try { data = await unpack(); } catch (problem) {
    $("failed").textContent = `The homes in this file cannot be unpacked (${problem.message}). Open it`
      + " in a browser of 2023 or later; if that does not help, make the page again.";
    $("failed").hidden = false; $("state").textContent = "";
    throw problem;
  }
  Object.assign(data, { count, share });
  const { homes, rows, looks, lanes, rules, fields } = data, RANK = [0, 2, 1];
  const word = (column, row) => column.codes[row] < 0 ? null : column.words[column.codes[row]];
  const items = (column, row) => column.lists[column.codes[row]].map(i => column.words[i]);
  const rule = id => rules[id] ? `${id} ${rules[id]}` : id;
  const label = field => fields[field] ?? field.replaceAll("_", " ");
  const day = n => n === null ? null : new Date(n * 864e5).toLocaleDateString("en-GB",
    { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  const first = new Int32Array(homes.n + 1);
  for (let h = 0; h < homes.n; h++) first[h + 1] = first[h] + homes.rows[h];
  const total = first[homes.n], keep = new Uint8Array(total), worst = new Int8Array(homes.n);
  let shown = [], page = 0, order = "id", turn = 1, back = null;

  /* Filters */
  const chosen = name => $(`f-${name}`).value;
  function options(name, all, pairs) {
    $(`f-${name}`).replaceChildren(el("option", { value: "" }, all),
      ...pairs.map(([value, text]) => el("option", { value }, text)));
  }
  const known = column => column.words.map((text, i) => [i, text]);
  const noArea = homes.area.codes.includes(-1) ? [[-1, data.no_area]] : [];
  options("area", "All areas", [...known(homes.area), ...noArea]);
  options("measure", "All measures", known(rows.measure_name));
  options("queue", "All queues", [...looks.map((look, q) => [`q${q}`, look.title]),
    ...rows.lane.words.map((lane, i) => [`l${i}`, `Review: ${lanes[lane]?.[0] ?? lane}`])]);
  options("rule", "All rules", rows.fired.words.map((id, i) => [i, rule(id)]));
  options("foam", "All", rows.foam_present.words.map((text, i) => [i, data.foam[text] ?? text]));

  function applyFilters() {
    const [area, measure, queue, fires, foam, find] = ["area", "measure", "queue", "rule", "foam", "find"]
      .map(chosen), text = find.trim().toLowerCase();
    const withRule = fires === "" ? null : rows.fired.lists.map(list => list.includes(+fires));
    const byRow = [measure, queue, fires, foam].some(value => value !== "");
    shown = [];
    for (let h = 0; h < homes.n; h++) {
      worst[h] = -1;
      const in_ = (area === "" || homes.area.codes[h] === +area)
        && (text === "" || homes.id[h].toLowerCase().includes(text));
      let any = in_ && !byRow && homes.rows[h] === 0;
      for (let r = first[h]; r < first[h + 1]; r++) {
        const ok = in_ && (measure === "" || rows.measure_name.codes[r] === +measure)
          && (queue === "" || (queue[0] === "q" ? rows.queue[r] : rows.lane.codes[r]) === +queue.slice(1))
          && (!withRule || withRule[rows.fired.codes[r]])
          && (foam === "" || rows.foam_present.codes[r] === +foam);
        keep[r] = ok;
        if (!ok) continue;
        any = true;
        if (worst[h] < 0 || RANK[rows.queue[r]] > RANK[worst[h]]) worst[h] = rows.queue[r];
      }
      if (any) shown.push(h);
    }
  }

  /* Tables */
  function bar(part, of) {
    const fill = el("span");
    fill.style.width = `${of ? 100 * part / of : 0}%`;
    return el("span", { class: "bar", "aria-hidden": "true" }, fill);
  }
  function cell(value, tag) {
    const numeric = typeof value === "number";
    const style = numeric ? "n" : value?.shares ? "s" : null;
    return el(tag, { ...(style ? { class: style } : {}), ...(tag === "th" ? { scope: "row" } : {}) },
      ...(Array.isArray(value) ? value : [numeric ? count(value) : value ?? "–"]));
  }
  /* heads: [text, is it a number]; lines: arrays of text, number or list of nodes. */
  function table(id, caption, heads, lines, limit = Infinity) {
    const body = el("tbody", null, ...lines.slice(0, limit).map(line =>
      el("tr", null, ...line.map((value, i) => cell(value, i ? "td" : "th")))));
    if (!lines.length)
      body.append(el("tr", null, el("td", { colspan: heads.length }, "None in what is chosen.")));
    const made = el("table", null, el("caption", null, caption), el("thead", null, el("tr", null,
      ...heads.map(([text, n]) => el("th", { scope: "col", ...(n ? { class: "n" } : {}) }, text)))), body);
    const more = lines.length <= limit ? null : el("p", { class: "more" },
      `${limit} of ${count(lines.length)} lines. `,
      el("button", { type: "button", on: () => {
        table(id, caption, heads, lines); $(id).focus();
      } }, "Show all lines"));
    const box = $(id);
    box.setAttribute("tabindex", "0"); box.setAttribute("role", "region");
    box.setAttribute("aria-label", caption);
    box.replaceChildren(made, ...(more ? [more] : []));
  }
  const marked = q => [document.querySelector(`.legend [data-queue="${q}"] svg`).cloneNode(true),
    looks[q].title];
  const shared = (part, of) => Object.assign(
    [of >= 10 ? `${count(part)} (${share(part, of)})` : count(part), bar(part, of)], { shares: true });

  /* Counts of distinct homes: `add` may be told the same home many times in a row. */
  function tally() {
    const found = new Map();
    return { found, add(key, home, more = 1) {
      let line = found.get(key);
      if (!line) found.set(key, line = { key, rows: 0, homes: 0, last: -1 });
      line.rows += more;
      if (line.last !== home) { line.last = home; line.homes++; }
    }, lines: () => [...found.values()].sort((a, b) => b.homes - a.homes || (a.key < b.key ? -1 : 1)) };
  }
  function kept(visit) {
    for (const h of shown) for (let r = first[h]; r < first[h + 1]; r++) if (keep[r]) visit(h, r);
  }

  function showQueues(sum) {
    const by = [0, 1, 2].map(() => 0), steps = tally();
    kept((h, r) => {
      by[rows.queue[r]]++;
      const step = rows.queue[r] === 0 ? (rows.released[r] ? "0" : "1") : rows.queue[r] === 1 ? "2"
        : `3${word(rows.lane, r) ?? ""}`;
      steps.add(step, h);
    });
    const at = [0, 0, 0];
    for (const h of shown) if (worst[h] >= 0) at[worst[h]]++;
    table("queues", "Queues: home-part-measures, and homes by their worst queue",
      [["Queue"], ["Home-part-measures"], ["Homes"]],
      looks.map((_, q) => [marked(q), shared(by[q], sum.rows), shared(at[q], sum.homes)]));
    const place = key => key[0] < "3" ? +key : 3 + Object.keys(lanes).indexOf(key.slice(1));
    table("lanes", "What each waits for, and on whom", [["State"], ["Home-part-measures", 1], ["Homes", 1]],
      steps.lines().sort((a, b) => place(a.key) - place(b.key)).map(line => {
        const lane = lanes[line.key.slice(1)];
        const name = ["Safe, released", "Safe, checks outstanding", "Fix water first"][line.key]
          ?? `Review: ${lane?.[0] ?? "no lane"}`;
        return [lane ? [name, el("br"), el("span", { class: "note" }, lane[1])] : name, line.rows, line.homes];
      }));
  }

  function showAreas() {
    const by = new Map();
    for (const h of shown) {
      if (worst[h] < 0) continue;
      const key = homes.area.codes[h];
      if (!by.has(key)) by.set(key, [0, 0, 0, 0]);
      by.get(key)[worst[h]]++; by.get(key)[3]++;
    }
    const lines = [...by].sort((a, b) => b[1][3] - a[1][3] || a[0] - b[0]).map(([key, n]) => [
      [el("button", { type: "button", class: "plain", on: () => {
        $("f-area").value = key; refresh(); $("f-area").focus();
      } }, key < 0 ? data.no_area : homes.area.words[key])],
      n[3], ...looks.map((_, q) => shared(n[q], n[3]))]);
    table("areas", "Homes by area and worst queue",
      [["Area"], ["Homes", 1], ...looks.map(look => [look.title])], lines, SHORT);
  }

  function showReasons() {
    const fires = tally(), open = tally();
    kept((h, r) => {
      for (const i of rows.fired.lists[rows.fired.codes[r]]) fires.add(rows.fired.words[i], h);
      for (const i of rows.undecidable.lists[rows.undecidable.codes[r]])
        open.add(rows.undecidable.words[i], h);
    });
    const all = [...new Set([...fires.lines(), ...open.lines()].map(line => line.key))];
    const of = (side, id) => side.found.get(id)?.homes ?? 0;
    table("reasons", "Rules by the homes they hold",
      [["Rule"], ["Fires: homes", 1], ["Fires: home-part-measures", 1], ["Cannot be decided yet: homes", 1]],
      all.map(id => [rule(id), of(fires, id), fires.found.get(id)?.rows ?? 0, of(open, id)]), SHORT);
  }

  function showGaps() {
    const gaps = tally(), alone = tally();
    kept((h, r) => {
      const asked = rows.asks[r] ? rows.missing.lists[rows.missing.codes[r]] : [];
      for (const i of asked) {
        gaps.add(rows.missing.words[i], h);
        if (asked.length === 1) alone.add(rows.missing.words[i], h);
      }
    });
    table("gaps", "Missing answers by the homes that wait for them",
      [["Missing"], ["Homes waiting", 1], ["For this alone", 1]],
      gaps.lines().map(line => [label(line.key), line.homes, alone.found.get(line.key)?.homes ?? 0]), SHORT);
  }

  function showFoam() {
    const by = new Map();
    for (const h of shown) {
      let has = "", type = "", queue = -1;
      for (let r = first[h]; r < first[h + 1]; r++) {
        if (!keep[r] || word(rows.foam_present, r) === "no") continue;
        if (has !== "yes") has = word(rows.foam_present, r) ?? "unknown";
        type ||= word(rows.foam_type, r) ?? "";
        if (queue < 0 || RANK[rows.queue[r]] > RANK[queue]) queue = rows.queue[r];
      }
      if (!has) continue;
      const key = `${has}|${type}`;
      if (!by.has(key)) by.set(key, [0, 0, 0, 0]);
      by.get(key)[queue]++; by.get(key)[3]++;
    }
    const name = key => {
      const [has, type] = key.split("|"), told = type.replaceAll("_", " ");
      return has === "yes" ? `Foam: ${told || "type not known"}`
        : `Not known whether foam${told ? `; on record: ${told}` : ""}`;
    };
    table("foam", "Homes by foam on record and worst queue",
      [["Foam on record"], ["Homes", 1], ...looks.map(look => [look.title, 1])],
      [...by].sort((a, b) => (a[0][0] === "y" ? 0 : 1) - (b[0][0] === "y" ? 0 : 1) || b[1][3] - a[1][3])
        .map(([key, n]) => [name(key), n[3], n[0], n[1], n[2]]));
  }

  function showExpiry() {
    const ends = data.expiry, by = tally(), leaving = tally();
    for (let i = 0; i < ends.row.length; i++) {
      if (!keep[ends.row[i]]) continue;
      by.add(ends.month[i], ends.home[i]);
      if (ends.leaves[i]) leaving.add(ends.month[i], ends.home[i]);
    }
    const name = n => new Date(Date.UTC(Math.floor(n / 12), n % 12)).toLocaleDateString("en-GB",
      { month: "long", year: "numeric", timeZone: "UTC" });
    const lines = by.lines().sort((a, b) => a.key - b.key).map(line => [name(line.key), line.homes,
      ...(ends.calendar ? [line.rows, leaving.found.get(line.key)?.homes ?? 0] : [line.rows])]);
    table("expiry", ends.calendar ? "Answers that end, by month" : "Safe home-part-measures, by month",
      [["Month"], ["Homes", 1], ...(ends.calendar ? [["Answers", 1], ["Homes that would leave safe", 1]]
        : [["Home-part-measures", 1]])], lines);
  }

  /* Homes */
  function showHomes() {
    const place = h => homes.area.codes[h] < 0 ? Infinity : homes.area.codes[h]; // not known: last
    const sorted = order === "id" ? shown
      : [...shown].sort((a, b) => (place(a) === place(b) ? a - b : place(a) - place(b)));
    const pages = Math.max(1, Math.ceil(shown.length / PAGE));
    page = Math.min(page, pages - 1);
    const at = page * PAGE, part = [];
    for (let i = at; i < Math.min(at + PAGE, shown.length); i++)
      part.push(sorted[turn > 0 ? i : shown.length - 1 - i]);
    const head = name => el("button", { type: "button", on: () => {
      turn = order === name ? -turn : 1; order = name; page = 0; showHomes();
      $("homes").querySelector(`[data-sort="${name}"]`).focus();
    }, "data-sort": name }, `${name === "id" ? "Home id" : "Area"} ${order !== name ? "↕" : turn > 0 ? "↑" : "↓"}`);
    table("homes", "Homes in what is chosen", [[head("id")], [head("area")]], part.map(h => [
      [el("button", { type: "button", class: "plain", "data-home": h, on: event => showHome(h, event.target) },
        homes.id[h])], word(homes.area, h) ?? data.no_area]));
    for (const name of ["id", "area"])
      $("homes").querySelector(`[data-sort="${name}"]`).closest("th").setAttribute("aria-sort",
        order !== name ? "none" : turn > 0 ? "ascending" : "descending");
    $("page-said").textContent = shown.length ? `${count(at + 1)} to ${count(at + part.length)} of `
      + `${count(shown.length)} homes` : "No home";
    $("back").disabled = page === 0; $("on").disabled = page >= pages - 1;
  }

  function caseOf(r) {
    const lane = word(rows.lane, r), lines = name => rows[name] ? items(rows[name], r) : [];
    const list = (title, texts) => texts.length ? [el("h4", null, title),
      el("ul", null, ...texts.map(text => el("li", null, text)))] : [];
    const fact = (name, value) => value ? [el("dt", null, name), el("dd", null, value)] : [];
    const state = rows.queue[r] === 0 ? (rows.released[r] ? "released" : "checks outstanding")
      : lane && `${lanes[lane]?.[0] ?? lane} (${lanes[lane]?.[1] ?? ""})`;
    return el("div", { class: "case" },
      el("h4", null, ...marked(rows.queue[r]), `: ${word(rows.measure_name, r)}, `,
        `part ${word(rows.building_part, r)}`),
      el("dl", { class: "facts" }, ...fact("State", state), ...fact("Reason", word(rows.reason, r)),
        ...fact("Next action", word(rows.next_action, r)), ...fact("Survey date", day(rows.survey_on[r])),
        ...fact("Survey quality", data.qualities[word(rows.survey_quality, r)]),
        ...fact("Rests on, at least", word(rows.evidence_quality, r)?.replaceAll("_", " ")),
        ...(rows.queue[r] === 0 ? fact("Evidence good until", day(rows.expires_on[r])) : [])),
      ...list("Rules that fire", lines("fired").map(rule)),
      ...list("To be confirmed first", lines("confirm_first").map(rule)),
      ...list("Disputed between sources", lines("disputed").map(rule)),
      ...list("Conflicting records", lines("conflict_notes")),
      ...list("Cannot be decided yet", lines("undecidable").map(rule)),
      ...list("Missing evidence", lines("missing").map(label)),
      ...list("Expired evidence", lines("expired").map(label)),
      ...list("Taken as usual, to be checked", lines("presumed")),
      ...list("Stop-work flags", lines("stop_work")), ...list("Checks before start", lines("checks")),
      ...list("Enabling work", lines("enabling")),
      ...list("Accepted by a specialist", lines("decision_notes")),
      ...list("Repairs on record", lines("repair_notes")), ...list("Notes", lines("notes")),
      ...list("Cautions", lines("cautions")));
  }

  function showHome(h, origin) {
    const list = [];
    for (let r = first[h]; r < first[h + 1]; r++) list.push(caseOf(r));
    const where = [word(homes.area, h) ?? data.no_area, homes.lat[h] === null ? "not on the map: no usable place"
      : homes.coarse[h] ? "on the map only at the middle of a wider area" : null].filter(Boolean);
    $("home-title").textContent = `Home ${homes.id[h]}`;
    $("home-body").replaceChildren(el("p", null, where.join("; ")), ...(list.length ? list
      : [el("p", null, "No measure is proposed for this home, so that nothing was judged.")]));
    openPanel(h, origin);
  }
  function openPanel(h, origin) {
    back = origin; $("home").hidden = false; map.choose(h); $("home-title").focus();
  }
  function pick(found) {
    if (found.length === 1) { showHome(found[0], $("map")); return; }
    $("home-title").textContent = `${count(found.length)} homes at one place`;
    $("home-body").replaceChildren(el("ul", null, ...found.slice(0, 200).map(h => el("li", null,
      el("button", { type: "button", class: "plain", on: () => showHome(h, $("map")) }, homes.id[h])))),
    ...(found.length > 200 ? [el("p", null, "The first 200; choose an area or an id for the others.")] : []));
    openPanel(-1, $("map"));
  }

  function refresh() {
    applyFilters();
    const sum = { rows: 0, homes: 0 };
    for (let r = 0; r < total; r++) sum.rows += keep[r];
    for (const h of shown) if (worst[h] >= 0) sum.homes++;
    const bare = shown.length - sum.homes;
    const said = [...document.querySelectorAll("#filters select, #filters input")].filter(f => f.value)
      .map(f => `${f.labels[0].textContent}: ${f.selectedOptions?.[0].textContent ?? f.value}`);
    $("state").textContent = (said.length ? `${said.join("; ")}. ` : "") + `${count(sum.rows)} of ${count(total)} home-part-measures, `
      + `${count(sum.homes)} homes` + (bare ? `; ${count(bare)} more homes with nothing proposed` : "");
    page = 0;
    showQueues(sum); map.show(worst); showHomes(); showAreas(); showReasons(); showGaps(); showFoam();
    showExpiry();
  }

  const map = programmeMap($("map"), data, $("map-said"), pick);
  $("filters").addEventListener("change", refresh);
  $("f-find").addEventListener("input", refresh);
  $("filters").addEventListener("submit", event => event.preventDefault());
  $("filters").addEventListener("reset", () => setTimeout(() => { map.fit(); refresh(); }));
  $("back").addEventListener("click", () => { page--; showHomes(); });
  $("on").addEventListener("click", () => { page++; showHomes(); });
  $("close").addEventListener("click", () => {
    $("home").hidden = true; map.choose(-1);
    (back?.isConnected ? back : $("map")).focus();
  });
  refresh();
  document.documentElement.dataset.ready = Math.round(performance.now());
  window.programmePage = { drawn: map.drawn, at: id => map.at(homes.id.indexOf(id)) };
})();
