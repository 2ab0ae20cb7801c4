"use strict";
/* The programme page: unpacks the run, filters its rows, fills the tables. Text goes in as text. */

(async () => {
  const $ = id => document.getElementById(id), all = css => [...document.querySelectorAll(css)];
  const PAGE = 20, SHORT = 12, SEVERITY = [0, 2, 1]; // of safe, fix water first, review

  /* An element with its properties, and what stands in it. */
  function el(tag, properties, ...inside) {
    const made = Object.assign(document.createElement(tag), properties);
    made.append(...inside);
    return made;
  }
  const button = (text, onclick) => el("button", { type: "button", onclick }, text);

  async function unpack() {
    const bytes = Uint8Array.from(atob($("data").textContent), c => c.charCodeAt(0));
    $("data").remove();
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return JSON.parse(await new Response(stream).text());
  }
  const data = await unpack().catch(problem => {
    $("failed").textContent = `The homes in this file cannot be unpacked (${problem.message}). Open`
      + " it in a browser of 2023 or later; if that does not help, make the page again.";
    $("failed").hidden = false;
    $("state").textContent = "";
    throw problem;
  });
  const { homes, rows, looks } = data, { area } = homes;
  looks.forEach((look, q) => { look.mark = $("legend").children[q].firstChild; });
  const first = new Int32Array(homes.n + 1); // rows of home h: from first[h] to first[h + 1]
  homes.rows.forEach((n, h) => { first[h + 1] = first[h] + n; });
  rows.area = { ...area, codes: area.codes.flatMap((code, h) => Array(homes.rows[h]).fill(code)) };
  const keep = new Uint8Array(first[homes.n]), worst = new Int8Array(homes.n);
  let shown = [], page = 0, order = "id", turn = 1, back = null;

  /* Codes of a column in a row, and their texts: one or none, or those of its list. */
  const codesOf = (column, r) => column.lists ? column.lists[column.codes[r]]
    : column.codes[r] < 0 ? [] : [column.codes[r]];
  const texts = (column, r) => codesOf(column, r).map(code => column.words[code]);
  const worse = (a, b) => a < 0 || SEVERITY[b] > SEVERITY[a] ? b : a;

  function applyFilters() {
    const find = $("f-find").value.trim().toLowerCase(), inArea = $("f-area").value;
    const wanted = all("#filters [data-column]").filter(box => box.value).map(box => {
      const column = rows[box.dataset.column], codes = box.value.split(",").map(Number);
      const places = column.lists ?? column.words.map((_, code) => [code]);
      return [column.codes, places.map(held => held.some(code => codes.includes(code)))];
    });
    shown = [];
    for (let h = 0; h < homes.n; h++) {
      const inside = (inArea === "" || area.codes[h] === +inArea)
        && homes.id[h].toLowerCase().includes(find);
      worst[h] = -1;
      for (let r = first[h]; r < first[h + 1]; r++) {
        keep[r] = inside && wanted.every(([codes, fits]) => fits[codes[r]]);
        if (keep[r]) worst[h] = worse(worst[h], rows.queue[r]);
      }
      if (worst[h] >= 0 || (inside && !wanted.length && !homes.rows[h])) shown.push(h);
    }
  }

  /* Rows and different homes by text, and homes by their worst queue, in the order of the texts. */
  function tally(column) {
    const found = column.words.map(() => ({ rows: 0, homes: 0, queues: [0, 0, 0], last: -1 }));
    for (const h of shown)
      for (let r = first[h]; r < first[h + 1]; r++)
        for (const code of keep[r] ? codesOf(column, r) : []) {
          const line = found[code], before = line.last === h ? line.queue : -1;
          line.rows++;
          if (before < 0) line.homes++; else line.queues[before]--;
          line.queue = worse(before, rows.queue[r]);
          line.queues[line.queue]++;
          line.last = h;
        }
    return new Map(found.flatMap((line, code) => line.rows ? [[column.words[code], line]] : []));
  }

  /* Tables: a cell is a text, a number, or a list of nodes; its class is that of its heading. */
  function fill(id, lines, limit) {
    const heads = all(`#${id} thead th`);
    const made = lines.slice(0, limit).map(line => el("tr", {}, ...line.map((cell, i) =>
      el(i ? "td" : "th", { className: heads[i].className, ...(i ? {} : { scope: "row" }) },
        ...[cell].flat().map(part => typeof part === "number" ? count(part) : part)))));
    const none = el("tr", {}, el("td", { colSpan: heads.length }, "None in what is chosen."));
    $(id).querySelector("tbody").replaceChildren(...(made.length ? made : [none]));
    $(id).querySelector(".more")?.remove();
    if (lines.length > limit)
      $(id).append(el("p", { className: "more" }, `${limit} of ${count(lines.length)} lines. `,
        button("Show all lines", () => { fill(id, lines); $(id).focus(); })));
  }
  const marked = q => [looks[q].mark.cloneNode(true), looks[q].title];
  function shared(part, of) {
    const bar = el("span", { className: "bar" }, el("span"));
    bar.firstChild.style.width = `${of ? 100 * part / of : 0}%`;
    return [of >= 10 ? `${count(part)} (${share(part, of)})` : count(part), bar];
  }
  const areaButton = word => [button(word, () => {
    $("f-area").value = area.words.indexOf(word);
    refresh();
    $("f-area").focus();
  })];

  /* Headings say what is counted: a column, and for each text rows, homes or those in a queue. */
  function fillCounts() {
    const tallied = {};
    for (const box of all("[data-counts]")) {
      const counts = all(`#${box.id} [data-of]`).map(({ dataset, className }) => {
        const [name, what] = dataset.of.split(" ");
        return { lines: tallied[name] ??= tally(rows[name]), what, ofHomes: className === "s" };
      });
      const words = [...new Set(counts.flatMap(({ lines }) => [...lines.keys()]))];
      const homesOf = (i, word) => counts.at(i).lines.get(word)?.homes ?? 0;
      const ranked = box.dataset.counts === "ranked";
      if (ranked)
        words.sort((a, b) => homesOf(0, b) - homesOf(0, a) || homesOf(-1, b) - homesOf(-1, a));
      fill(box.id, words.map(word => [box.id === "areas" ? areaButton(word) : word,
        ...counts.map(({ lines, what, ofHomes }) => {
          const line = lines.get(word), part = line?.[what] ?? line?.queues[what] ?? 0;
          return ofHomes ? shared(part, line.homes) : part;
        })]), ranked ? SHORT : undefined);
    }
  }

  /* Homes */
  function fillHomes() {
    const pages = Math.max(1, Math.ceil(shown.length / PAGE));
    page = Math.min(page, pages - 1);
    const sorted = [...shown];
    if (order === "area") sorted.sort((a, b) => area.codes[a] - area.codes[b]);
    if (turn < 0) sorted.reverse();
    const part = sorted.slice(page * PAGE, (page + 1) * PAGE);
    fill("homes", part.map(h => [
      [button(homes.id[h], event => showHome(h, event.target))], area.words[area.codes[h]],
    ]));
    for (const head of all("[data-sort]"))
      head.parentElement.setAttribute("aria-sort", head.dataset.sort !== order ? "none"
        : turn > 0 ? "ascending" : "descending");
    $("page-said").textContent = !part.length ? "No home" : `${count(page * PAGE + 1)} to `
      + `${count(page * PAGE + part.length)} of ${count(shown.length)} homes`;
    $("back").disabled = page === 0;
    $("on").disabled = page === pages - 1;
  }

  function caseOf(r) {
    const facts = el("dl", { className: "facts" }), lists = [];
    const [measure, part] = [rows.measure_name, rows.building_part].map(column => texts(column, r));
    for (const [title, name] of data.panel) {
      const told = texts(rows[name], r);
      if (!told.length) continue;
      if (!rows[name].lists) facts.append(el("dt", {}, title), el("dd", {}, ...told));
      else lists.push(el("h4", {}, title), el("ul", {}, ...told.map(text => el("li", {}, text))));
    }
    const title = el("h4", {}, ...marked(rows.queue[r]), `: ${measure}, part ${part}`);
    return el("div", { className: "case" }, title, facts, ...lists);
  }
  function showHome(h, origin) {
    const cases = [];
    for (let r = first[h]; r < first[h + 1]; r++) cases.push(caseOf(r));
    if (!cases.length)
      cases.push("No measure is proposed for this home, so that nothing was judged.");
    const where = [area.words[area.codes[h]], ...texts(homes.place, h)].join("; ");
    openPanel(`Home ${homes.id[h]}`, [el("p", {}, where), ...cases], h, origin);
  }
  function showHomesAt(found) {
    if (found.length === 1) return showHome(found[0], $("map"));
    const list = found.slice(0, 200).map(h =>
      el("li", {}, button(homes.id[h], () => showHome(h, $("map")))));
    const rest = found.length > 200 ? "The first 200; choose an area or an id for the others." : "";
    const inside = [el("ul", {}, ...list), rest];
    openPanel(`${count(found.length)} homes at one place`, inside, -1, $("map"));
  }
  function openPanel(title, inside, h, origin) {
    $("home-title").textContent = title;
    $("home-body").replaceChildren(...inside);
    back = origin;
    $("home").hidden = false;
    map.choose(h);
    $("home-title").focus();
  }

  function refresh() {
    applyFilters();
    const byQueue = queues => looks.map((_, q) => queues.filter(queue => queue === q).length);
    const inRows = byQueue(rows.queue.filter((_, r) => keep[r]));
    const inHomes = byQueue(shown.map(h => worst[h])), sum = (a, b) => a + b;
    const rowsKept = inRows.reduce(sum), homesKept = inHomes.reduce(sum);
    const bare = shown.length - homesKept;
    const chosen = all("#filters select, #filters input").filter(box => box.value).map(box =>
      `${box.labels[0].textContent}: ${box.selectedOptions?.[0].textContent ?? box.value}`);
    $("state").textContent = (chosen.length ? `${chosen.join("; ")}. ` : "")
      + `${count(rowsKept)} of ${count(keep.length)} home-part-measures, ${count(homesKept)} homes`
      + (bare ? `; ${count(bare)} more homes with nothing proposed` : "");
    page = 0;
    map.show(worst);
    fillHomes();
    fill("queues", looks.map((_, q) => [marked(q), shared(inRows[q], rowsKept),
      shared(inHomes[q], homesKept)]));
    fillCounts();
  }

  const map = programmeMap($("map"), data, $("map-said"), showHomesAt);
  $("filters").onchange = refresh;
  $("f-find").oninput = refresh;
  $("filters").onsubmit = event => event.preventDefault();
  $("filters").onreset = () => setTimeout(() => { map.fit(); refresh(); });
  for (const head of all("[data-sort]"))
    head.onclick = () => {
      turn = order === head.dataset.sort ? -turn : 1;
      order = head.dataset.sort;
      page = 0;
      fillHomes();
    };
  $("back").onclick = () => { page--; fillHomes(); };
  $("on").onclick = () => { page++; fillHomes(); };
  $("close").onclick = () => {
    $("home").hidden = true;
    map.choose(-1);
    (back?.isConnected ? back : $("map")).focus();
  };
  refresh();
  document.documentElement.dataset.ready = Math.round(performance.now());
  window.programmePage = { drawn: map.drawn, at: id => map.at(homes.id.indexOf(id)) }; // for tests
})();
