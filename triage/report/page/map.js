"use strict";
/* Map of the homes: counted rings where they lie close together, single marks where they do not. */

const count = new Intl.NumberFormat("en").format;
const share = (part, of) => of < 10 ? count(part)
  : `${(100 * part / of).toFixed(part && part < of / 100 ? 1 : 0)}%`;

function programmeMap(box, { homes, ground, looks }, said, onPick) {
  const WIDE = 64, NARROW = 28, FEW = 250; // hexagons in pixels; the narrow ones for few homes
  const REACH = 60; // pixels; an arrow key moves the map by 80, so the cross can reach every mark
  const STILL = { animate: false }, APART = 250; // pixels between two equal names
  const map = L.map(box, { zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false,
    inertia: false, attributionControl: false, minZoom: 2, maxZoom: 18, zoomSnap: 0.5 });
  const places = homes.lat.map((lat, h) =>
    lat === null ? null : L.latLng(lat / 1e5, homes.lon[h] / 1e5));
  const world = places.map(place => place && map.project(place, 0));
  const around = L.latLngBounds(places.filter(Boolean));
  let worst = [], cells = [], untouched = true, origin, seen;

  /* Ground, a net of degrees, names, marks, and a ring round the home that is open */
  const below = { renderer: L.canvas(), interactive: false, weight: 1, color: "#858d94" };
  const pairs = flat => flat.flatMap((lon, i) => i % 2 ? [] : [[flat[i + 1] / 1e3, lon / 1e3]]);
  L.polygon(ground.rings.map(pairs), { ...below, fillColor: "#eceff0", fillOpacity: 1 }).addTo(map);
  const net = L.polyline([], { ...below, color: "#c3c8cd" }).addTo(map);
  const names = L.layerGroup().addTo(map), marks = L.layerGroup().addTo(map);
  const chosen = L.circleMarker([0, 0], { radius: 13, fill: false, weight: 3, color: "#1c1f23",
    pane: "tooltipPane", className: "chosen", interactive: false });
  L.control.scale({ imperial: ground.miles, metric: true }).addTo(map);

  function write(at, text, className) {
    const html = Object.assign(document.createElement("span"), { textContent: text });
    const icon = L.divIcon({ html, className, iconSize: [0, 0] });
    L.marker(at, { icon, interactive: false, keyboard: false, zIndexOffset: -1e6 }).addTo(names);
  }
  function drawNet() {
    const [west, south, east, north] = map.getBounds().toBBoxString().split(",").map(Number);
    const wide = (east - west) / 4, power = 10 ** Math.floor(Math.log10(wide));
    const step = power * [5, 2, 1].find(k => k * power <= wide), lines = [];
    const name = (v, letters) => `${Math.round(Math.abs(v) * 1e4) / 1e4}° ${letters[+(v < 0)]}`;
    for (let lon = Math.ceil(west / step) * step; lon < east; lon += step) {
      lines.push([[south, lon], [north, lon]]);
      write([south, lon], name(lon, "EW"), "degree foot");
    }
    for (let lat = Math.ceil(south / step) * step; lat < north; lat += step) {
      lines.push([[lat, west], [lat, east]]);
      write([lat, west], name(lat, "NS"), "degree");
    }
    net.setLatLngs(lines);
  }
  function writeNames() { // where there is room, and not twice side by side
    const taken = cells.map(({ at, r }) => ({ at, wide: 2 * r, tall: 2 * r }));
    for (const [lat, lon, text, fromZoom] of ground.labels) {
      const place = [lat / 1e3, lon / 1e3], at = map.latLngToContainerPoint(place);
      const label = { at, text, wide: 9 * text.length + 6, tall: 20 };
      const clash = other => (other.text === text && other.at.distanceTo(at) < APART)
        || (Math.abs(other.at.x - at.x) < (other.wide + label.wide) / 2
          && Math.abs(other.at.y - at.y) < (other.tall + label.tall) / 2);
      if (map.getZoom() < fromZoom || !map.getBounds().contains(place) || taken.some(clash)) continue;
      write(place, text, "name");
      taken.push(label);
    }
  }

  /* Homes in sight by hexagon; `step` is the distance between opposite sides, in pixels. */
  function gather(step) {
    const found = new Map(), tall = step * Math.sqrt(3), scale = 2 ** map.getZoom();
    const { min, max } = map.getPixelBounds();
    origin = min;
    for (let h = 0; h < homes.n; h++) {
      if (worst[h] < 0 || !world[h]) continue;
      const x = world[h].x * scale, y = world[h].y * scale;
      if (x < min.x - step || x > max.x + step || y < min.y - step || y > max.y + step) continue;
      // Middles of hexagons are two nets of rectangles, one moved by half: the nearer one counts.
      const near = half => [Math.round(x / step - half) + half, Math.round(y / tall - half) + half];
      const off = ([i, j]) => (i * step - x) ** 2 + (j * tall - y) ** 2;
      const a = near(0), b = near(.5), [i, j] = off(a) < off(b) ? a : b;
      const key = (i * 2 ** 26 + j) * 2;
      if (!found.has(key)) found.set(key, { i, j, x: 0, y: 0, of: [0, 0, 0], homes: [] });
      const cell = found.get(key);
      cell.x += x; cell.y += y; cell.of[worst[h]]++; cell.homes.push(h);
    }
    const most = Math.log1p(Math.max(100, ...[...found.values()].map(cell => cell.homes.length)));
    return [...found.values()].map(({ i, j, x, y, of, homes }) => {
      const n = homes.length, mean = L.point(x / n, y / n), middle = L.point(i * step, j * tall);
      const r = n === 1 ? 7 : step < WIDE ? 12.5 : 14 + 15 * Math.log1p(n) / most;
      // So far inside its hexagon that no two rings can touch.
      const inside = n === 1 ? 1 : Math.min(1, (step / 2 - r) / (mean.distanceTo(middle) || 1));
      const at = middle.add(mean.subtract(middle).multiplyBy(inside)).subtract(min);
      return { n, of, homes, r, at };
    });
  }
  function ring({ n, of, r }) {
    let before = 0;
    const parts = of.map((part, q) => {
      const fill = q === 2 ? "url(#hatch)" : looks[q].fill, begin = before;
      before += part;
      return `<circle r="${.82 * r}" pathLength="${n}" stroke="${fill}" stroke-width="${.36 * r}"
        stroke-dasharray="${part} ${n}" stroke-dashoffset="${-begin}"/>`;
    });
    const text = n < 1000 ? n : `${(n / 1000).toFixed(n < 9950 ? 1 : 0)}k`;
    return `<svg viewBox="${-r} ${-r} ${2 * r} ${2 * r}">${parts.join("")}<circle r="${r - .5}"
      class="edge"/><circle r="${.64 * r}" class="edge"/><text>${text}</text></svg>`;
  }
  function draw() {
    cells = gather(WIDE);
    if (cells.reduce((sum, cell) => sum + cell.n, 0) <= FEW) cells = gather(NARROW);
    for (const layer of [names, marks]) layer.clearLayers();
    drawNet();
    writeNames();
    for (const cell of cells) {
      const html = cell.n > 1 ? ring(cell) : looks[worst[cell.homes[0]]].mark.cloneNode(true);
      const icon = L.divIcon({ html, className: "ring", iconSize: [2 * cell.r, 2 * cell.r] });
      const zIndexOffset = -1e3 * Math.min(cell.n, 900); // small ones on top, all above the names
      L.marker(map.containerPointToLatLng(cell.at), { icon, keyboard: false, zIndexOffset })
        .bindTooltip(() => document.createTextNode(words(cell)), { direction: "top" })
        .on("click", () => take(cell)).addTo(marks);
    }
    tellCross();
  }

  function atCross() {
    const far = cell => cell.at.distanceTo(map.getSize().divideBy(2));
    return cells.filter(cell => far(cell) <= REACH).sort((a, b) => far(a) - far(b))[0];
  }
  function tellCross() {
    const cell = atCross(), told = cell ? words(cell) : "No home at the cross.";
    if (box.matches(":focus-visible")) said.textContent = told;
  }
  function words(cell) {
    if (cell.n === 1) return `${homes.id[cell.homes[0]]}: ${looks[worst[cell.homes[0]]].title}`;
    const shares = looks.map((look, q) => `${look.title} ${share(cell.of[q], cell.n)}`);
    return `${count(cell.n)} homes: ${shares.join(", ")}`;
  }
  function take(cell) {
    const nearest = map.getMaxZoom(), first = world[cell.homes[0]];
    const apart = cell.homes.some(h => first.distanceTo(world[h]) * 2 ** nearest > 16);
    if (apart && map.getZoom() < nearest)
      map.setView(map.containerPointToLatLng(cell.at), map.getZoom() + 2);
    else onPick(cell.homes);
  }
  function fit() {
    untouched = true;
    if (around.isValid()) map.fitBounds(around.pad(.06), { maxZoom: 15, ...STILL });
    else map.setView([0, 0], 2);
  }
  function print(on) { // A sheet of paper shows the same ground in another size.
    if (on) seen = { middle: map.getCenter(), zoom: map.getZoom(), bounds: map.getBounds() };
    box.classList.toggle("printed", on);
    map.invalidateSize({ animate: false, pan: false });
    if (on) map.fitBounds(seen.bounds, STILL); else map.setView(seen.middle, seen.zoom, STILL);
  }

  fit();
  map.on("moveend", draw);
  map.on("resize", () => { if (untouched) fit(); draw(); });
  for (const name of ["pointerdown", "wheel", "keydown"])
    box.addEventListener(name, () => { untouched = false; }, { capture: true, passive: true });
  box.addEventListener("focus", tellCross);
  box.addEventListener("keydown", event => {
    if (event.key === "Enter" && event.target === box && atCross()) take(atCross());
  });
  window.addEventListener("beforeprint", () => print(true));
  window.addEventListener("afterprint", () => print(false));
  return {
    fit,
    show(queues) { worst = queues; draw(); },
    choose(home) {
      chosen.remove();
      if (!places[home]) return;
      chosen.setLatLng(places[home]).addTo(map);
      if (!map.getBounds().contains(places[home])) map.panTo(places[home], STILL);
    },
    at: home => map.project(places[home]).subtract(origin), // as drawn, not amid a pan
    drawn: () => cells.reduce((sum, cell) => cell.of.map((n, q) => n + sum[q]), [0, 0, 0]),
  };
}
